"""How much memory a session takes that is stepped through blow after blow, as somebody does who works in it all day.

Run: python tests/benchmarks/dashboard_memory.py [STEPS] [SHEET]. One session of the page Record is stepped through the
blows of a drive without a browser, every fiftieth step moves J on the page Resistance, and the memory of the process
[MB] is written at ten moments with what the second half of the steps added.
"""

import gc
import os
import sys
from pathlib import Path

from streamlit.testing.v1 import AppTest

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "sample_signals" / "pier_2_clay" / "sheet.toml"


def resident() -> float:
    """Memory of this process that is in the computer's own [MB]."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024.0
    return float("nan")


def page(name: str) -> AppTest:
    script = f"from dyntest_dashboard.strip import drawing\n\ndrawing({name!r})()\n"
    return AppTest.from_string(script, default_timeout=600.0).run()


def main() -> None:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    os.environ["DYNTEST_SHEET"] = str(Path(sys.argv[2]).resolve() if len(sys.argv) > 2 else SHEET)
    record, resistance = page("trust"), page("resistance")
    asked = record.number_input(key="strip_blow")
    first, last = int(asked.min), int(asked.max)
    told = {}
    for step in range(steps):
        blow = first + step % (last - first + 1)
        record.number_input(key="strip_blow").set_value(blow).run()
        assert not record.exception and not record.error
        if step % 50 == 0:
            factor = round(0.01 * (step // 50 % 100), 2)
            resistance.slider(key="resistance_factor").set_value(factor).run()
            assert not resistance.exception and not resistance.error
        if (step + 1) % max(1, steps // 10) == 0:
            gc.collect()
            told[step + 1] = resident()
            print(f"{step + 1:6d} steps  {told[step + 1]:8.1f} MB", flush=True)
    half = [told[step] for step in sorted(told) if step >= steps // 2]
    print(f"second half of the steps: {half[-1] - half[0]:+.1f} MB")


if __name__ == "__main__":
    main()
