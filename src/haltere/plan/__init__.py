"""From kit, magnification, animal and light to settings, with reasons.

A `Kit` and `Wishes` come in; a `Plan` goes out, every number of which can be explained. This room
must not know picture files, except for the made-up animal that shows what a setting looks like.
"""

from haltere.plan.drawn import Drawn, drawn
from haltere.plan.given import STANDINS, Given
from haltere.plan.make import make_plan
from haltere.plan.plan import At, Plan, Warned
from haltere.plan.sayings import Saying, sayings
from haltere.plan.told import as_dict, as_json
from haltere.plan.why import Explanation, Why, explanations, why
from haltere.plan.wishes import COC_RULES, LIGHTS, WISH_KEYS, Wishes, put_together, wishes_of

__all__ = [
    "COC_RULES",
    "LIGHTS",
    "STANDINS",
    "WISH_KEYS",
    "At",
    "Drawn",
    "Explanation",
    "Given",
    "Plan",
    "Saying",
    "Warned",
    "Why",
    "Wishes",
    "as_dict",
    "as_json",
    "drawn",
    "explanations",
    "make_plan",
    "put_together",
    "sayings",
    "why",
    "wishes_of",
]
