"""Where the pages are routed to; run with ``dyntest dashboard``."""

from pathlib import Path

if __name__ == "__main__":  # a process that matches blows loads this file too, and shall do nothing with it
    import streamlit as st

    from dashboard.pages import PAGES
    from dashboard.strip import foot, head

    icon = Path(__file__).parent / "pictures" / "icon.svg"  # a file of our own: signs in letters are fetched from afar
    st.set_page_config(page_title="dyntest", page_icon=str(icon), layout="wide")
    pages = {
        name: st.Page(f"views/{name}.py", title=page.title, icon=page.icon, default=name == next(iter(PAGES)))
        for name, page in PAGES.items()
    }
    page = st.navigation(list(pages.values()), position="top")
    head()
    page.run()
    foot(pages, page)
