"""One file that remembers every original, every step and every decision.

Files and answers come in and are kept, each step whole or not at all. This is the only room that
opens the database; it must not know how an answer was found, nor how it is shown.
"""

from haltere.fieldbook.book import Book, Rows, open_book, passing_book
from haltere.fieldbook.browsing import FramesByName, RunBlock, run_blocks
from haltere.fieldbook.catalogue import (
    OutingRow,
    catalogue_frames,
    frame_ids,
    frames_in,
    keep_frames,
    keep_runs,
    outing_named,
    outings,
    place_outing,
    run_named,
    runs_in,
)
from haltere.fieldbook.decisions import Act, decide, decisions_in, undo
from haltere.fieldbook.job_queue import (
    Job,
    ask,
    beat,
    cancel_job,
    end_job,
    job_numbered,
    jobs,
    jobs_done,
    take_job,
)
from haltere.fieldbook.kits import KitRow, keep_kit, kit_numbered, kits, newest_kit
from haltere.fieldbook.numbered import frame_numbered, outing_numbered
from haltere.fieldbook.plans_kept import KeptPlan, forget_plan, keep_plan, kept_plans
from haltere.fieldbook.repairs import (
    Repair,
    can_redo,
    keep_repair,
    redo_repair,
    repairs_of,
    undo_repair,
)
from haltere.fieldbook.searching import FoundFrame, search
from haltere.fieldbook.standing import Standing, answers_in, renew, state_mark
from haltere.fieldbook.steps import StepRow, forget, recall, record, step_key, steps_of
from haltere.fieldbook.visits import CardHere, Visit, card_here, visits

__all__ = [
    "Act",
    "Book",
    "CardHere",
    "FoundFrame",
    "FramesByName",
    "Job",
    "KeptPlan",
    "KitRow",
    "OutingRow",
    "Repair",
    "Rows",
    "RunBlock",
    "Standing",
    "StepRow",
    "Visit",
    "answers_in",
    "ask",
    "beat",
    "can_redo",
    "cancel_job",
    "card_here",
    "catalogue_frames",
    "decide",
    "decisions_in",
    "end_job",
    "forget",
    "forget_plan",
    "frame_ids",
    "frame_numbered",
    "frames_in",
    "job_numbered",
    "jobs",
    "jobs_done",
    "keep_frames",
    "keep_kit",
    "keep_plan",
    "keep_repair",
    "keep_runs",
    "kept_plans",
    "kit_numbered",
    "kits",
    "newest_kit",
    "open_book",
    "outing_named",
    "outing_numbered",
    "outings",
    "passing_book",
    "place_outing",
    "recall",
    "record",
    "redo_repair",
    "renew",
    "repairs_of",
    "run_blocks",
    "run_named",
    "runs_in",
    "search",
    "state_mark",
    "step_key",
    "steps_of",
    "take_job",
    "undo",
    "undo_repair",
    "visits",
]
