"""How results are said in plain English; the sheet and the command line speak alike."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from haltere.focus.fault import Fault
from haltere.frames.frame import Frame
from haltere.keepers.verdict import Crop, JudgedFrame, Keepers
from haltere.runs.run import Run
from haltere.show.outing import Outing, WorkedRun
from haltere.sweeps.coverage import Coverage, Gap

if TYPE_CHECKING:
    from haltere.fieldbook.verify import Verified

SAID_ALOUD = 0.5
"""Faults at least this sure are said; the same line as in `haltere.focus.fault.Fault`."""

FAULT_WORDS = {
    "defocus": "out of focus",
    "motion": "smeared by motion",
    "dark": "too dark",
    "clipped": "burnt out",
    "ghost": "double contour",
    "cut": "cut by the edge",
    "hidden": "eye hidden",
    "off-frame": "eye outside the picture",
}
SUSPICION_WORDS = {
    "gap": "nothing sharp here",
    "halo": "halo",
    "ghost": "double contour",
    "moved": "moved between frames",
    "clipped": "burnt out",
}
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip
"""Written out, because strftime speaks the language of the system."""

DECISION_WORDS = {"keep": "keep", "maybe": "maybe", "drop": "drop"}
"""What a person may have said of a frame; 'undecided' is a word taken back."""

KIND_WORDS = {"burst": "burst", "sweep": "sweep", "single": "single"}
DIRECTION_WORDS = {
    "away": "away from the camera",
    "toward": "toward the camera",
    "unknown": "direction unknown",
}


def counted(number: int, one: str, many: str | None = None) -> str:
    """Say how many: '1 frame', '3 frames'.

    Parameters
    ----------
    number : int
        How many.
    one : str
        The singular.
    many : str or None, optional
        The plural where it is not one with an s.
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def verified(said: Verified) -> str:
    """Say in a sentence what came of reading everything again.

    Parameters
    ----------
    said : Verified
        What came of it.
    """
    copies = counted(said.copies, "copy", "copies")
    where = "from the disks" if said.verified_from == "disk" else "from cache, not all from disks"
    if said.good == said.copies:
        return f"All is well: {copies} read back the same, {where}."
    bad = said.copies - said.good
    verb = "is not what it was" if bad == 1 else "are not what they were"
    return f"{bad} of {copies} {verb}; read {where}."


def listed(parts: Sequence[str]) -> str:
    """Join words as one does aloud: 'a, b and c'.

    Parameters
    ----------
    parts : sequence of str
        The words.
    """
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]


def lasting(seconds: float) -> str:
    """Say how long: '6 s', '4 min', '1 h 12 min'.

    Parameters
    ----------
    seconds : float
        How long.
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"


def faults(found: Sequence[Fault], *, but: tuple[str, ...] = ()) -> list[str]:
    """Say the faults that are sure enough, the surest first.

    Parameters
    ----------
    found : sequence of Fault
        Faults of one frame.
    but : tuple of str, optional
        Kinds that are not said.
    """
    loud = [f for f in found if f.confidence >= SAID_ALOUD and f.kind not in but]
    return [FAULT_WORDS[f.kind] for f in sorted(loud, key=lambda f: -f.confidence)]


def said_faults(judged: JudgedFrame) -> str:
    """Say the faults of a frame but its focus: 'smeared by motion (6.1 px), too dark'.

    Parameters
    ----------
    judged : JudgedFrame
        One frame as judged.
    """
    found = faults(judged.faults, but=("defocus",))
    if judged.smear_px is not None and FAULT_WORDS["motion"] in found:
        at = found.index(FAULT_WORDS["motion"])
        found[at] += f" ({judged.smear_px:.1f} px{_direction(judged.smear_deg)})"
    return ", ".join(found)


def _direction(degrees: float | None) -> str:
    """Say a direction on the picture as a hand shows it."""
    if degrees is None:
        return ""
    ways = ("sideways", "down to the right", "up and down", "up to the right")
    return f", {ways[round((degrees % 180) / 45) % 4]}"


def place(judged: JudgedFrame) -> str:
    """Say where the plane of focus lies against the eye.

    Parameters
    ----------
    judged : JudgedFrame
        One frame as judged.
    """
    offset = judged.eye_offset_dof
    if offset is None:
        return "place not known"
    side = "behind" if offset > 0 else "in front of"
    size = abs(offset)
    if size < 0.05:
        return "on the eye"
    words = f"{size:.1f} depths of field {side} the eye"
    if judged.eye_offset_mm is not None:
        words = f"{abs(judged.eye_offset_mm):.2f} mm {side} the eye"
    return words


def decided(verdict: str | None) -> str:
    """Say what the person decided: 'you: drop'; empty where nothing stands.

    Parameters
    ----------
    verdict : str or None
        As the field book has it.
    """
    return f"you: {DECISION_WORDS[verdict]}" if verdict in DECISION_WORDS else ""


def print_size(crop: Crop | None) -> str:
    """Say how large a crop prints: '54 x 41 cm'; empty without one.

    Parameters
    ----------
    crop : Crop or None
        The proposed crop.
    """
    if crop is None:
        return ""
    return f"{crop.print_width_mm / 10:.0f} x {crop.print_height_mm / 10:.0f} cm"


def fault_count(frames: Sequence[JudgedFrame]) -> str:
    """Count the faults of a run that are said aloud: '2 too dark, 1 smeared by motion'.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        Frames of one run.
    """
    count: dict[str, int] = {}
    for frame in frames:
        for kind in {f.kind for f in frame.faults if f.confidence >= SAID_ALOUD}:
            count[kind] = count.get(kind, 0) + 1
    # in the order of the words above, so that the same faults always read alike
    return ", ".join(f"{count[kind]} {said}" for kind, said in FAULT_WORDS.items() if kind in count)


def gap(hole: Gap) -> str:
    """Say one gap: 'nothing sharp from 0.42 to 0.80 mm, at the far end, just behind the eye'.

    Parameters
    ----------
    hole : Gap
        The gap.
    """
    where = {
        "near-end": ", at the near end",
        "inside": "",
        "far-end": ", at the far end",
    }[hole.kind]
    if hole.from_mm is not None and hole.to_mm is not None:
        span = f"{hole.from_mm:.2f} to {hole.to_mm:.2f} mm"
    else:
        span = f"{hole.from_dof:.1f} to {hole.to_dof:.1f} depths of field"
    if hole.where is not None:
        where += f", {hole.where}"
    return f"nothing sharp from {span}{where}".replace("-0", "\u22120").replace(" -", " \u2212")


def verdict_head(keepers: Keepers) -> str:
    """Say the answer in two or three words.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    """
    if keepers.verdict.code == "keeper":
        kept = sum(frame.keeper for frame in keepers.frames)
        return "A keeper" if kept < 2 else f"{kept} keepers"
    return {"none": "No keeper", "unsure": "Not sure"}[keepers.verdict.code]


def coverage_head(coverage: Coverage) -> str:
    """Say in two or three words whether the sweep is complete.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    """
    if coverage.complete:
        return "Complete"
    if coverage.complete is None:
        return "Not sure"
    return counted(len(coverage.gaps), "gap") if coverage.gaps else "Not complete"


def outcome(worked: WorkedRun) -> str:
    """Say what came of a run in two or three words.

    Parameters
    ----------
    worked : WorkedRun
        The run and what was said of it.
    """
    if worked.keepers is not None:
        return verdict_head(worked.keepers)
    if worked.gaps is not None:
        return coverage_head(worked.gaps)
    return "Could not be worked"


def moment(frame: Frame | None) -> datetime | None:
    """Moment of exposure without its zone, as a clock on the wrist showed it.

    Parameters
    ----------
    frame : Frame or None
        The frame.
    """
    if frame is None or frame.shooting.time is None:
        return None
    return frame.shooting.time.replace(tzinfo=None)


def date_line(outing: Outing) -> str:
    """Say on which day and from when to when; empty when the files do not tell.

    Parameters
    ----------
    outing : Outing
        The outing.
    """
    first = moment(outing.frames.get(outing.runs[0].run.frames[0])) if outing.runs else None
    last = moment(outing.frames.get(outing.runs[-1].run.frames[-1])) if outing.runs else None
    if first is None or last is None:
        return ""
    day = f"{first.day} {MONTHS[first.month - 1]} {first.year}"
    if first.date() != last.date():
        return f"{day} to {last.day} {MONTHS[last.month - 1]} {last.year}"
    return f"{day}, {first:%H:%M} to {last:%H:%M}"


def clock(frame: Frame | None) -> str:
    """Say the time of day of a frame; empty when the file does not tell.

    Parameters
    ----------
    frame : Frame or None
        The frame.
    """
    time = moment(frame)
    return "" if time is None else f"{time:%H:%M}"


def run_length_s(run: Run, outing: Outing) -> float | None:
    """Seconds from the first to the last frame; None when a time is missing.

    Parameters
    ----------
    run : Run
        The run.
    outing : Outing
        The outing.
    """
    first = moment(outing.frames.get(run.frames[0]))
    last = moment(outing.frames.get(run.frames[-1]))
    return None if first is None or last is None else (last - first).total_seconds()


def run_title(run: Run, outing: Outing) -> str:
    """Say what a run is: 'burst of 14 frames in 6 s'.

    Parameters
    ----------
    run : Run
        The run.
    outing : Outing
        The outing.
    """
    if run.kind == "single":
        return "single frame"
    words = f"{KIND_WORDS[run.kind]} of {counted(len(run.frames), 'frame')}"
    seconds = run_length_s(run, outing)
    if seconds is not None and seconds >= 1:
        words += f" in {lasting(seconds)}"
    if run.kind == "sweep" and len(run.passes) > 1:
        words += f", {len(run.passes)} passes"
    return words


def summary(outing: Outing) -> str:
    """Say the whole outing in one or two sentences.

    Parameters
    ----------
    outing : Outing
        The outing.
    """
    if not outing.runs:
        return "Nothing on this card could be worked on."
    kinds = [
        counted(sum(w.run.kind == kind for w in outing.runs), KIND_WORDS[kind])
        for kind in ("burst", "sweep", "single")
        if any(w.run.kind == kind for w in outing.runs)
    ]
    total = sum(len(w.run.frames) for w in outing.runs)
    first = moment(outing.frames.get(outing.runs[0].run.frames[0]))
    last = moment(outing.frames.get(outing.runs[-1].run.frames[-1]))
    opening = f"{counted(total, 'frame')}: {listed(kinds)}"
    if first is not None and last is not None and (last - first).total_seconds() >= 90:
        opening = f"{lasting((last - first).total_seconds())} and {opening}"
    said = []
    bursts = [
        _BURST.get(w.keepers.verdict.code)
        for w in outing.runs
        if w.run.kind == "burst" and w.keepers is not None
    ]
    sweeps = [w.gaps.complete for w in outing.runs if w.gaps is not None]
    said += _counts(bursts, "burst", "has a keeper", "have a keeper")
    said += _counts(sweeps, "sweep", "is complete", "are complete")
    failed = sum(w.failed is not None for w in outing.runs)
    if failed:
        said.append(f"{counted(failed, 'run')} could not be worked to the end")
    if not said:
        return opening + "."
    closing = listed(said)
    return f"{opening}. {closing[0].upper()}{closing[1:]}."


_BURST = {"keeper": True, "none": False}


def _counts(answers: list[bool | None], what: str, one: str, many: str) -> list[str]:
    """Count the runs of one kind by answer; those without one are left to the person's eye."""
    told = [answer for answer in answers if answer is not None]
    open_ = len(answers) - len(told)
    said = [_of(sum(told), len(told), what, one, many)] if told else []
    if open_:
        said.append(f"{counted(open_, what)} could not be told for sure")
    return said


def _of(good: int, all_: int, what: str, one: str, many: str) -> str:
    if all_ == 1:
        return f"the {what} {one}" if good else f"the {what} {_not(one)}"
    if good == all_:
        return f"all {all_} {what}s {many}"
    if good == 0:
        return f"none of the {all_} {what}s {one}"
    return f"{good} of {all_} {what}s {one if good == 1 else many}"


def _not(words: str) -> str:
    return words.replace("has a", "has no").replace("is complete", "is not complete")
