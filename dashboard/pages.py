"""The pages and the question that each answers, in the order of an engineer's work."""

from typing import NamedTuple


class Asked(NamedTuple):
    """A page's short name, icon and question."""

    title: str
    icon: str
    question: str


PAGES = {
    "pile": Asked("Pile", ":material/straighten:", "Which pile is this, and how was it tested?"),
    "new_test": Asked("New test", ":material/add:", "What was tested, and with which files?"),
    "trust": Asked("Record", ":material/rule:", "Can I trust this record?"),
    "hammer": Asked("Hammer", ":material/hardware:", "What did the hammer deliver, and did it damage the pile?"),
    "resistance": Asked(
        "Resistance", ":material/vertical_align_bottom:", "What resistance does the pile have, and how certain is it?"
    ),
    "setup": Asked("Setup", ":material/hourglass_top:", "Did the pile gain or lose resistance?"),
    "criterion": Asked("Criterion", ":material/checklist:", "What do I tell the inspectors?"),
    "bearing_piles": Asked(
        "Bearing piles", ":material/grid_on:", "Do the bearing piles meet the criterion, and is any of them unusual?"
    ),
    "structure": Asked(
        "Structure", ":material/map:", "What is the result for the whole structure, and what is still to do?"
    ),
    "compare": Asked("Two piles", ":material/compare_arrows:", "How do two test piles compare?"),
    "live": Asked("Live", ":material/sensors:", "What is the status of the drive?"),
    "report": Asked("Report", ":material/description:", "What is in the report?"),
}
"""By the file name in ``views/``; the first page opens first."""
