"""What `inspect` and `new` write: what a recorder's files contain, and the sheet and tables of a test to begin."""

import json
import tomllib
from collections.abc import Sequence
from importlib.resources import files as package_files
from pathlib import Path

from dyntest.errors import InputError
from dyntest.presenting.terms import terminal_width, wrapped
from dyntest.reading.channel_guess import ChannelGuess, Reason
from dyntest.reading.files import check_file
from dyntest.reading.form import as_remarks
from dyntest.reading.formats import MAX_RECORD_BYTES
from dyntest.reading.guess import Inspection
from dyntest.reading.mapping import DELIMITER_WORDS
from dyntest.reading.parts import Channel

REASONS = {
    "header unit": "its header says {text}",
    "name": "its name, {text}",
    "steady steps": "it rises by {value:.4g} from sample to sample",
    "counts blows": "whole numbers constant within a blow: {value:.0f} of them",
    "wave speed": "in {text}, velocity over strain at the first peak is {value:.0f} m/s, the wave speed of a pile",
    "file scale": "its numbers are multiplied by the scale_factor in the file, {value:g}",
    "next blow": "another blow of {text}",
    "first movement": "it first moves to {value:.4g}, so {text} is positive",
}
"""Words for each reason of a guess."""

SHAPES = {
    "strain": "the record stays on one side at impact, as a strain does",
    "acceleration": "the record swings to both sides and sums to nearly zero, as an acceleration does",
}
"""Words for what the shape of a record says."""

DOUBTS = {
    "no numbers": "it has no numbers",
    "one number": "it has one number only",
    "not read": "its values cannot be used: {text}",
    "gaps": "{value:.0f} of its values are not numbers",
    "sample counter": "it only counts the samples",
    "second": "there is another channel that looks like {text}",
    "file factor": "the file says {text}: write it as factor if the numbers are not yet multiplied by it",
    "other": "{text} is not what a gauge measures",
    "small": "it peaks at {value:.3g} only, as a channel without a gauge does",
    "computed": "strains and accelerations are used instead of a computed {text}",
    "one of several": "{value:.0f} channels look like {text}, and one average is needed: export single gauges",
    "usual rate": "its unit is not given; {text} gives {value:.0f} Hz, a usual rate",
    "flat": "it is constant",
    "volts": "it peaks at {value:.3g}, which looks like volts: write the calibration factor",
    "size alone": "its unit is not given; {text} is a guess from its size, {value:.4g}",
    "pair unit": "its unit is not given; {text} is that of another gauge in the file",
    "no wave speed": "with this unit velocity over strain is not the wave speed of a pile: check units and factors",
    "gauge count": "{value:.0f} channels look like {text}; gauges come in pairs on opposite faces",
    "rows stand upright": "the arrays have more rows than columns ({value:.0f}); rows must be blows",
    "side by side": "{value:.0f} blows stand side by side, the first from column {text} on; a row is made of each",
    "groups by name": "{value:.0f} groups are taken as blows in the order of their names: {text}",
    "one of several groups": "{value:.0f} groups have the same channels, and only one is read: {text}",
    "other times": "{text} gives other times, and is not used: export all channels from the same time on",
    "several rates": "the file gives {value:.0f} sampling rates, {text}",
    "file numbers": "the numbers in the files' names leave out {text}, and the blows are numbered on without a gap",
    "one blow only": "the file has one blow; if there are more, name all their files",
}
"""Words for each doubt."""

CHECKED = ("side by side", "groups by name", "one of several groups", "other times", "several rates", "file numbers")
"""Doubts on the arrangement of the blows that are marked in the sheet."""

RATES = {
    "time channel": "from the time channel",
    "file step": "as given in the file",
    "file value": "from {text} in the file",
    "head line": 'from the line "{text}"',
    "wave speed": "guessed, so that velocity over strain is the wave speed of a pile; give the recorder's setting",
    "usual length": "guessed from the length of the record; give the recorder's setting",
    "not told": "not given in the file; give the recorder's setting",
}
"""Words for where the sampling rate comes from."""

BLANK_RECORDS = ("initial.csv", "restrike.csv")
"""Empty tables of signals that a test with a recorder's files does not need."""

EXAMPLES = ("pile", "hammer")
"""Tables of the blank sheet whose values are examples; a recorder's files are not to be reviewed with them."""

LINES_SHOWN = 8
"""First lines of a file that are shown [1]."""


def inspection_lines(found: Inspection) -> list[str]:
    """Give what was found in lines for a terminal."""
    more = f" and {len(found.sources) - 1} more" if len(found.sources) > 1 else ""
    lines = [f"{found.sources[0]}{more}: {found.format}, {len(found.channels)} channels"]
    if found.head:
        cut = terminal_width()
        lines += ["", "First lines:", *(f"  | {line.expandtabs(4)}"[:cut] for line in found.head[:LINES_SHOWN])]
    rate = "unknown" if found.sample_rate is None else f"{found.sample_rate:,.6g} Hz"
    lines.append("")
    lines += wrapped(f"Sampling rate: {rate}, {RATES[found.rate_reason.kind].format(text=found.rate_reason.text)}.")
    if found.sample_rate:
        seconds = found.n_samples / found.sample_rate
        lines.append(f"Length: {found.n_samples:,} samples, {seconds:.4g} s.")
    else:
        lines.append(f"Length: {found.n_samples:,} samples.")
    lines += ["", "Channels:"]
    for one in found.channels:
        lines += _channel_lines(one)
    doubts = [words(doubt) for doubt in found.doubts]
    if doubts:
        lines += ["", "Doubtful:", *(line for doubt in doubts for line in wrapped(doubt, "  - ", "    "))]
    lines += ["", "Suggested for the sheet:", "", *mapping_toml(found).splitlines()]
    return lines


def words(reason: Reason) -> str:
    """Give a reason or a doubt in words."""
    if reason.kind == "shape":
        return SHAPES[reason.text] + f" (net over whole area {reason.value:.2f})"
    return (REASONS | DOUBTS)[reason.kind].format(value=reason.value, text=reason.text)


def _channel_lines(one: ChannelGuess) -> list[str]:
    size = " × ".join(f"{length:,}" for length in one.shape)
    span = f"{one.low:.4g} to {one.high:.4g}" if one.low == one.low else "no numbers"
    what = one.target or "not used"
    if one.channel is not None and one.channel.unit:
        what += f" in {one.channel.unit}"
    if one.channel is not None and one.channel.positive:
        what += f", {one.channel.positive} positive"
    lines = [f"  {one.number}. {one.name or 'without a name'} ({size}; {span}): {what}"]
    told = [f"because {words(reason)}" for reason in one.reasons]
    told += [f"doubtful: {words(doubt)}" for doubt in one.doubts]
    return lines + [line for each in told for line in wrapped(each, " " * 7, " " * 9)]


def mapping_toml(found: Inspection) -> str:
    """Give ``[records]`` and ``[gauges]`` as they stand in a sheet; what is doubtful has a remark."""
    records = found.records
    lines = ["[records]", f"format = {_quoted(found.format)}"]
    words_by_sign = {sign: word for word, sign in DELIMITER_WORDS.items()}
    for key, value in (
        ("skip_lines", records.skip_lines),
        ("delimiter", words_by_sign.get(records.delimiter or "")),
        ("decimal", records.decimal),
        ("sheet", records.sheet),
        ("group", records.group),
    ):
        if value is not None:
            lines.append(f"{key} = {value if isinstance(value, int) else _quoted(value)}")
    if records.sample_rate is not None:
        remark = "  # check: guessed" if found.rate_reason.kind in ("wave speed", "usual length") else ""
        lines.append(f'sample_rate = "{records.sample_rate:g} Hz"{remark}')
    if records.blows is not None:
        lines += [f"# check: {words(doubt)}" for doubt in found.doubts if doubt.kind in CHECKED]
        lines.append(f"blows = {_quoted(records.blows)}")
    doubts = {one.target: [words(doubt) for doubt in one.doubts] for one in found.channels if one.target}
    for name, channel in records.channels.items():
        lines += ["", f"[records.channels.{name}]", *_channel_toml(channel, doubts.get(name, []))]
    lines += ["", "[gauges]"]
    if {"force", "velocity"} <= set(records.channels) and not found.strain and not found.acceleration:
        lines += ['force = "force"', 'velocity = "velocity"']
    else:
        lines.append(f"strain = {_listed(found.strain)}")
        lines.append(f"acceleration = {_listed(found.acceleration)}")
    if found.flat:
        lines.append(f"leave_out = {_listed(found.flat)}  # check: {DOUBTS['flat']}")
    return "\n".join(lines) + "\n"


def _channel_toml(channel: Channel, doubts: Sequence[str]) -> list[str]:
    lines = [f"# check: {doubt}" for doubt in doubts]
    column = channel.column if isinstance(channel.column, int) else _quoted(channel.column)
    lines.append(f"column = {column}")
    if channel.unit is not None:
        lines.append(f"unit = {_quoted(channel.unit)}")
    if channel.positive is not None:
        lines += [f"factor = {channel.factor!r}", f"positive = {_quoted(channel.positive)}"]
    return lines


def new_files(found: Inspection, paths: Sequence[Path], directory: Path) -> dict[str, bytes]:
    """Give the files of a new test: sheet, empty logs, and those of the recorder's that are not in the folder yet."""
    names = [path.name for path in paths]
    double = next((name for name in names if names.count(name) > 1), None)
    if double is not None:
        raise InputError(double, "", "is named twice, from two folders", "rename one of them")
    files = {name: content for name, content in blank_files().items() if name not in BLANK_RECORDS}
    text = sheet_with_mapping(found, names).decode()
    for table in EXAMPLES:
        text = as_remarks(text, table, set(tomllib.loads(text)[table]))
    files["sheet.toml"] = text.encode()
    for path in paths:
        check_file(path, MAX_RECORD_BYTES)
        if path.name in files:
            raise InputError(path.name, "", "has the name of a file that a new test begins with", "rename it")
        if path.parent.resolve() != directory.resolve():
            files[path.name] = path.read_bytes()
    return files


def next_lines(directory: Path, sheet: bytes) -> list[str]:
    """Say what is to be done with a new sheet before it is reviewed."""
    path = directory / "sheet.toml"
    lines = [f"Write the values of your pile, hammer and drive into {path}: the present values are examples."]
    doubts = sheet.count(b"# check: ")
    if doubts:
        marked = f"{doubts} lines are marked" if doubts > 1 else "1 line is marked"
        lines.append(f"{marked} # check: the recorder's file does not give it.")
    return [*lines, f'Then run: dyntest review "{path}"']


def sheet_with_mapping(found: Inspection, files: Sequence[str]) -> bytes:
    """Give the blank test sheet with the mapping of a recorder's files in it, and the files in its first drive."""
    text = blank_files()["sheet.toml"].decode()
    start, end = text.index("[gauges]"), text.index("# Layout of the inspectors' logs")
    records, _, gauges = mapping_toml(found).partition("[gauges]")
    averaged = "# Records that only exist as averaged traces have force and velocity here instead.\n"
    keys = "" if found.flat else '# leave_out = ["strain_2"]         # a gauge that failed\n'
    text = f"{text[:start]}[gauges]{gauges}{keys}{averaged}\n{records.strip()}\n\n{text[end:]}"
    old = next(line for line in text.splitlines() if line.startswith('signals = "initial.csv"'))
    return text.replace(old, f"signals = {_quoted(files[0]) if len(files) == 1 else _listed(files)}").encode()


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _listed(texts: Sequence[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"


def blank_files() -> dict[str, bytes]:
    """Give the files that a new test begins with.

    Examples
    --------
    >>> "sheet.toml" in blank_files()
    True
    """
    template = package_files("dyntest.reading") / "template"
    return {entry.name: entry.read_bytes() for entry in sorted(template.iterdir(), key=lambda entry: entry.name)}
