"""Compile the halves of a step before the step itself, so that two processes can share the work.

A step is one compiled call (:func:`pilesim.solver.iteration.iterate`); the parts that it calls are compiled one after the
other when it is, and that takes most of the time. Compiled apart, they are read from the cache instead.
"""

from __future__ import annotations

import inspect
from types import SimpleNamespace

import numpy as np

from pilesim.base.compiled import compile_for
from pilesim.build import Problem, edges_over
from pilesim.model import State
from pilesim.solver.coupling import correct_respiration, step_error
from pilesim.solver.iteration import iterate
from pilesim.solver.passes import follow_flow, mid_step_terms, relax_composition, run_flow, run_stages, settle_oxygen
from pilesim.solver.step import Controls, arguments, begin, blank_held, make_stepper


def compile_flow(problem: Problem) -> None:
    """Compile the gas flow for `problem`, and with it for every other."""
    a, _ = _typical(problem)
    compile_for(run_flow, a.quads, a.room, a.new, a.props, a.edges.is_open, a.room.none, True, a.late)


def compile_stages(problem: Problem) -> None:
    """Compile the stages of heat and water, and what leads to them."""
    a, mid = _typical(problem)
    compile_for(run_stages, a.frame, a.room, a.terms, a.capillary, a.props.pore_volume, a.now, a.last, mid, a.first,
                a.second, a.edges, a.rates, a.new, a.gamma, a.dt, a.dt_last, True, 1.0, 1.0, 1, a.c)
    compile_for(mid_step_terms, a.quads, a.room, a.held, a.held_last, 1.0, a.terms, a.capillary, a.capillary_total, True, a.c)
    compile_for(relax_composition, a.frame, a.now, a.new, 1.0, 1.0, a.c)


def compile_oxygen(problem: Problem) -> None:
    """Compile the oxygen of a step, and what it corrects."""
    a, _ = _typical(problem)
    compile_for(settle_oxygen, a.quads, a.frame, a.room, a.props, a.oxygen_terms, a.now, a.last, a.new, a.edges_at_end, a.dt,
                a.dt_last, True, True, 1.0, 1.0, 1, True, a.new_held, a.c)
    early, late = a.rates
    compile_for(correct_respiration, a.terms.environment, a.held_last.environment, a.held.environment, a.new_held.environment,
                a.dt, a.dt_last, early.burnt, late.burnt, a.gamma, 1, a.bed, a.new, a.room.warming, a.room.corrected, a.c)
    compile_for(step_error, a.frame.weight, a.room.defect, a.room.warming, (a.new.temperature, *a.older), a.shares, 1)


def compile_start(problem: Problem) -> None:
    """Compile the start of a run, and what a step makes of the flow; the flow itself should be there."""
    begin(make_stepper(problem, Controls()))
    a, mid = _typical(problem)
    compile_for(follow_flow, a.quads, a.frame, a.room, a.second, a.edges, a.bed, a.props, a.now, mid, a.new, a.room.source,
                a.dt, True, True, 1.0, a.late)


def _typical(problem: Problem) -> tuple[SimpleNamespace, tuple[np.ndarray, ...]]:
    """Arguments of a step by their names, and the flow at mid-step as its parts take it; the numbers mean nothing."""
    stepper = make_stepper(problem, Controls())
    blank = np.zeros(problem.mesh.count + 1)
    state = State(0.0, blank, problem.temperature, problem.water, problem.substrate, problem.oxygen, problem.oxygen, blank,
                  blank, blank, problem.activity)
    held = blank_held(stepper)
    edges, _ = edges_over(problem, stepper.record, 0.0, 1.0, state.temperature, blank, stepper.skin)
    totals = stepper.rates[0].totals
    values = arguments(stepper, state, held, (state, held, 1.0), [], 1.0, (edges, edges), state, held, totals)
    named = SimpleNamespace(**dict(zip(inspect.signature(iterate.py_func).parameters, values, strict=True)))
    named.c, named.late = problem.record, stepper.record
    return named, (named.room.mid_east, named.room.mid_north, named.room.mid_outflow)
