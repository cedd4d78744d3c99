"""The cautions that go with every result: what can hurt someone, and what the model leaves out.

Facts as in official guidance: temperature levels as in the NRCS composting job sheet (practice 317) and
fire-service guidance; confined spaces as in the FACE 11CA008 investigation; bioaerosols as in HSE guidance on
composting. The wording is our own. TO CHECK against the originals.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_NUMBER = re.compile(r"\d+(?:\.\d+)?(?= percent)")

CAUTIONS = (
    "Fire: large, dry or ageing piles can heat themselves until they burn. Probe often; never open a "
    "pile that smokes or is above 80 degC (176 degF), call the fire service. The local fire code "
    "applies.",
    "Gases: hydrogen sulphide, carbon monoxide and lack of oxygen kill in drains, pits, pipes and "
    "bunkers. Treat them as confined spaces, test the air, never enter to rescue without breathing "
    "gear.",
    "Dust and spores: keep upwind, wet the pile before moving it, use a filtered cab or respirator; "
    "keep people with weak lungs or immunity away.",
    "Steam, machines, collapse: hot vapour leaves an opened pile; undercut or snow-capped faces fall; "
    "do not climb on the pile, lock out machines.",
    "This is a model result, not a measurement and not a statement of compliance: ask your regulator "
    "and licensed professionals.",
)

MODEL_LIMITS = (
    "Limits of the model: a cross-section without ends or an evenly round heap, quasi-steady oxygen, no settling; "
    "until it is calibrated on your material, rates are no better than 50 percent either way."
)

SHORT_CAUTIONS = (  # for a page with little room; the ones above in fewer words
    "Fire: probe often; never open a pile that smokes or is above 80 degC (176 degF), call the fire service; the local "
    "fire code applies.",
    "Gases kill in drains, pits, pipes and bunkers: treat them as confined spaces.",
    "Dust and spores: upwind, wet before moving, filtered cab or respirator.",
    "Steam, machines, collapse: keep off the pile and clear of opened or undercut faces.",
    "A model result, not a measurement and not a statement of compliance: ask your regulator and licensed professionals.",
)


def gathered(messages: Sequence[str]) -> list[tuple[str, set[str]]]:
    """Messages that differ in a percentage only as one, "51 to 85 percent", each with the messages that it stands for."""
    alike: dict[str, list[str]] = {}
    for message in dict.fromkeys(messages):
        alike.setdefault(_NUMBER.sub("#", message), []).append(message)
    out = []
    for form, members in alike.items():
        values = zip(*(_NUMBER.findall(message) for message in members), strict=True)
        for several in values:
            low, high = min(several, key=float), max(several, key=float)
            form = form.replace("#", low if low == high else f"{low} to {high}", 1)
        out.append((form, set(members)))
    return out
