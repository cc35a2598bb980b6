"""The pages and the question that each asks, in the order in which an engineer has to answer them."""

from typing import NamedTuple


class Asked(NamedTuple):
    """A page's short name, its sign, and its question."""

    title: str
    icon: str
    question: str


PAGES = {
    "pile": Asked("Pile", ":material/straighten:", "Which pile is this, and how was it tested?"),
    "new_test": Asked("New test", ":material/add:", "What was tested, and with which files?"),
    "trust": Asked("Record", ":material/rule:", "Can I trust this record?"),
    "hammer": Asked("Hammer", ":material/hardware:", "What did the hammer deliver, and did it hurt the pile?"),
    "resistance": Asked(
        "Resistance", ":material/vertical_align_bottom:", "What resistance does the pile have, and how sure is that?"
    ),
    "setup": Asked("Setup", ":material/hourglass_top:", "Did the pile gain or lose resistance?"),
    "criterion": Asked("Criterion", ":material/checklist:", "What do I tell the inspectors?"),
    "bearing_piles": Asked(
        "Bearing piles", ":material/grid_on:", "Do the bearing piles meet it, and does any behave strangely?"
    ),
    "structure": Asked(
        "Structure", ":material/map:", "What do all piles of the structure say, and what is still to do?"
    ),
    "compare": Asked("Two piles", ":material/compare_arrows:", "How do two test piles compare?"),
    "live": Asked("Live", ":material/sensors:", "Where does the drive stand?"),
    "report": Asked("Report", ":material/description:", "What is in the report?"),
}
"""By the name of the file in ``views/``; the first is opened first."""
