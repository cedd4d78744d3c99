"""One simulation: the run on its own grid and on the coarse partner, measures with their numerical error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pilesim.assess.dataset import convects_in_plumes, make_dataset
from pilesim.assess.errors import not_estimated, numerical_errors
from pilesim.assess.exposure import progress as progress_of_rule
from pilesim.assess.fields import Recorder
from pilesim.assess.histories import with_histories
from pilesim.assess.hygiene import coli_reductions
from pilesim.assess.judge import rule_cautions
from pilesim.assess.measures import Values, measure
from pilesim.assess.recipe import mix_messages
from pilesim.assess.shares import mix_pieces, pieces_mixed_in, share_below
from pilesim.assess.watch import Watch
from pilesim.base.constants import CONSTANTS
from pilesim.build import Problem, build
from pilesim.inputs.scenario import MixFromIngredients, MonthlyWeather, Scenario, Turn
from pilesim.solver.march import DAY, Moment, Tally, budget_errors, march
from pilesim.solver.step import Controls, Stepper
from pilesim.solver.uncover import CoverOff

if TYPE_CHECKING:
    import xarray as xr

COARSE_SHARE = 0.15  # of the run time, for the progress bar
PLUMES = ("So permeable and wide a mix convects in plumes that no grid settles: its error bars are not to be trusted, "
          "nor any place in its section. Read shares and means as rough.")
SEEDED = ("Seeding: finished compost as a seed helped in some published trials and not in others (Nakasaki et al.: of three "
          "kinds of seed one helped, one did not, one depending on how fast the mass warmed); the growth rate used here is "
          "tuned. A warm outer ring alone proves nothing: a uniformly mature pile shows nearly the same profile, because "
          "oxygen reaches only the outer 0.3 m.")

TURNED = ("Turned: the rule is judged of material that is followed through the turns, all other shares and days of places. "
          "The outline of the mix stays; settling, new lumps, ammonia and what the machine adds or spills are not modelled; "
          "how much air the material meets is a guess.")
VALVE = ("The cover works as a valve: condensate tightens it. On cells of 10 cm its air intake is within 10 percent of that "
         "on 2.5 cm, the share meeting the rule within 0.02, the mean temperature on day 30 within 2 K; the error shown may "
         "be less. That covers behave so is a reading of practice, not a measurement.")


def simulate(scenario: Scenario, progress: Callable[[float], None] | None = None) -> xr.Dataset:
    """Simulate a pile.

    Parameters
    ----------
    scenario : Scenario
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    xarray.Dataset
        Fields over time and section, history, and every measure with its numerical error (see DEVELOPERS.md).

    Raises
    ------
    ScenarioError
        If the outline or the bed is physically impossible.
    StepFailed
        If no acceptable time step is found.
    """
    from pilesim import __version__
    from pilesim.study.warm import ensure_compiled

    ensure_compiled()  # what a process compiles for itself differs in the last digits from what it reads from the cache
    report = progress or (lambda share: None)
    problems = build(scenario, 1), build(scenario, 2)
    (beside, _, _), coarse = observed_run(scenario, problems[0], lambda share: report(COARSE_SHARE * share))
    (watch, recorder, tally), fine = observed_run(
        scenario, problems[1], lambda share: report(COARSE_SHARE + (1.0 - COARSE_SHARE) * share))
    report(1.0)
    cautions = messages(scenario, watch, tally, fine) + not_estimated(fine, coarse)
    found = numerical_errors(fine, coarse, (watch, beside))
    dataset = make_dataset(problems[1], watch, recorder, tally, fine, found, cautions, __version__, (problems[0], beside))
    return with_histories(dataset, (problems[1], watch), (problems[0], beside))


def observed_run(scenario: Scenario, problem: Problem, report: Callable[[float], None],
                 controls: Controls | None = None) -> tuple[tuple[Watch, Recorder, Tally], Values]:
    """March one problem to the end; returns its observers and tally, and its measures."""
    duration = scenario.run.duration
    watch = Watch(scenario, mix_pieces(problem), CONSTANTS["hygiene_temperature"].value, pieces_mixed_in(problem))
    recorder = Recorder(output_times(scenario))

    def observe(stepper: Stepper, moment: Moment) -> None:
        watch(stepper, moment)
        recorder(stepper, moment)
        report(moment.after.time / duration)

    _, state, tally = march(problem, duration, controls or Controls(), observe)
    start = problem.stored_enthalpy(problem.temperature, problem.water), problem.water
    return (watch, recorder, tally), measure(problem, watch, tally, budget_errors(start, state, tally))


def output_times(scenario: Scenario) -> list[float]:
    """Output times [s]: every `run.output_every` from the start, and the end."""
    duration = scenario.run.duration
    every = min(scenario.run.output_every, duration)
    times = list(np.arange(0.0, duration * (1.0 - 1e-9), every))
    return [float(time) for time in (*times, duration)]


def messages(scenario: Scenario, watch: Watch, tally: Tally, values: Values) -> list[str]:
    """One-line cautions that this run deserves."""
    out = [PLUMES] if convects_in_plumes(scenario) else []
    pile, weather = scenario.pile, scenario.weather
    if isinstance(weather, MonthlyWeather) and weather.cold_snap and weather.cold_snap.start >= scenario.run.duration:
        out.append("The cold snap begins after the end of the run.")
    if pile.shape == "slab":
        out.append("A slab has no ground, base layer, compaction, draught or drainage: heat, vapour and oxygen pass its "
                   "faces only.")
    out += rule_cautions(scenario.limits.rule, len(scenario.turns))
    out += turn_messages(scenario, tally.cover_off)
    if scenario.start.seeding != "mature":
        out.append(SEEDED)
    if scenario.cover.valve:
        out.append(VALVE)
    if pile.length is not None and pile.shape not in ("column", "round") and pile.length < 4.0 * pile.height:
        out.append("The pile is shorter than four times its height: its ends, which are not modelled, matter.")
    capped = max(watch.series["capped_share"])
    if capped > CONSTANTS["capped_share_caution"].value:
        out.append(f"Drying and decay opened {100 * capped:.0f} percent of the mix to the largest gain of permeability "
                   "allowed; real gains may be larger or smaller.")
    error = float(np.asarray(values["budget_error_oxygen"]))
    if error > CONSTANTS["oxygen_budget_caution"].value:
        out.append(f"The oxygen budget is open by {error:.1e} of throughput; a longer run or a smaller run.cell closes it.")
    if tally.oxygen_unfinished > 0.01 * tally.steps:
        out.append(f"The oxygen balance was left unfinished in {tally.oxygen_unfinished} of {tally.steps} steps; "
                   "try another run.cell.")
    if isinstance(scenario.mix, MixFromIngredients):
        out += mix_messages(scenario.mix)
    return out


def turn_messages(scenario: Scenario, off: CoverOff | None) -> list[str]:
    """What to know of a run with turns, and of its cover if that came `off`."""
    late = sum(turn.time >= scenario.run.duration for turn in scenario.turns)
    out = [f"{late} of {len(scenario.turns)} turns come after the end of the run."] if late else []
    if len(scenario.turns) == late:
        return out
    return [*out, *([] if off is None else [cover_message(off)]), TURNED]


def cover_message(off: CoverOff) -> str:
    """What became of the cover, and what numbers mean since."""
    day = f"On day {off.time / DAY:.4g} the pile was turned and its cover {off.fate}; it stands bare from then on"
    if off.fate == "mixed in":
        share = 100.0 * off.dry / (off.dry + off.mix)
        return (f"{day}, the mix filling the outline of the cover. {share:.0f} percent of its dry matter is cover then, "
                f"and its permeability is taken as {off.permeability:.1e} m2 by particle size (fines rule), a guess. "
                "Losses are of the mix and of what came into it.")
    return (f"{day}, smaller by its thickness. Dry matter, water and heat of the cover left with it: budgets count that, "
            "the flows of heat and water do not.")


def tiny_pile() -> Scenario:
    """A pile that takes next to no time, with all that kernels are compiled for."""
    from pilesim.inputs.scenario import load

    tiny = load("reference_pile").with_(**{"run.cell": "25 cm", "run.duration": "2 hour", "run.output_every": "1 hour"})
    return replace(tiny, turns=(Turn(3600.0, "throughout", 1.0, CONSTANTS["turn_air_exchanged"].value, 0.0),))


def compile_assessment(problem: Problem) -> None:
    """Compile the kernels that judge a history of temperatures and a field of `problem`."""
    tiny, times, temperatures = tiny_pile(), np.arange(2.0), np.zeros((2, 1))
    progress_of_rule(times, temperatures, tiny.limits.rule)
    coli_reductions(times, temperatures)
    share_below(problem.temperature, 0.0, mix_pieces(problem))


def warm_up() -> None:
    """Compile all kernels of a run, or load them from the cache, by a few steps of a tiny pile."""
    tiny = tiny_pile()
    problem = build(tiny, 1)
    observed_run(tiny, problem, lambda share: None)
    compile_assessment(problem)
