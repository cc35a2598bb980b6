"""API reference of what others may build on: a page for each name that README lists, made from its docstring.

pip install '.[reference]' && sphinx-build .reference build/reference
"""

import re
from pathlib import Path

project = "dyntest"
extensions = ["sphinx.ext.autodoc", "sphinx.ext.mathjax", "numpydoc"]
exclude_patterns = ["_build"]
html_theme = "alabaster"
autodoc_typehints = "none"  # the docstrings say it, with shapes and units
numpydoc_show_class_members = False
nitpicky = False

HERE = Path(__file__).parent


def write_pages() -> None:
    """Write the index and a page for each package, from the table in README."""
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    packages = re.findall(r"^\| `(dyntest[\w.]*)` \|(.*)\|$", readme, flags=re.M)
    for package, cells in packages:
        title = f"{package}\n{'=' * len(package)}\n"
        entries = []
        for name in re.findall(r"`([\w.]+)`", cells):
            kind = "autoclass" if name.rpartition(".")[2][0].isupper() else "autofunction"
            members = "   :members:\n   :undoc-members:\n" if kind == "autoclass" else ""
            entries.append(f".. {kind}:: {package}.{name}\n{members}")
        (HERE / f"{package}.rst").write_text("\n".join([title, *entries]), encoding="utf-8")
    listed = "\n".join(f"   {package}" for package, _ in packages)
    (HERE / "index.rst").write_text(
        "dyntest\n=======\n\nWhat others may build on; everything else may change.\n\n.. toctree::\n\n" + listed + "\n",
        encoding="utf-8",
    )


write_pages()
