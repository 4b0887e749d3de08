"""Fitting the years to an agency's own readings: shown first, accepted by a person."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    AcceptOption,
    DirArgument,
    JsonOption,
    WorkspaceOption,
    the_person,
    the_workspace,
)
from crossfall_app.cli.speak import remark, say, say_json


def fit(
    folder: DirArgument = None,
    version: Annotated[
        str | None, typer.Option(help="Name of the new version of thresholds.")
    ] = None,
    accept: AcceptOption = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fit gravel loss and roughness to your own readings.

    Takes measured thicknesses, measured roughness and the work records; groups with fewer than
    five readings keep the default. The latest year is held back once to see what a fit is worth.
    """
    the_workspace(folder, workspace)
    from crossfall.learning import calibrate_years
    from crossfall_app.store import repository

    district = repository.load_district()
    found = calibrate_years(
        district.conditions, district.records, district.network, district.policy, version=version
    )
    has_news = found.policy is not district.policy
    if accept and not has_news:
        raise InputError("there is nothing to accept: too few readings in every group")
    if accept:
        repository.save_policy(found.policy, by=the_person(), note="fitted to own readings")
    factors = found.policy.programme.factors
    if as_json:
        say_json(
            {
                "gravel_loss": _fit(found.gravel.groups, found.gravel),
                "roughness_rate": _fit(found.rate.groups, found.rate),
                "blading_effect": _fit(found.blading.groups, found.blading),
                "proposed": {
                    "version": found.policy.version,
                    "gravel_loss": factors.gravel_loss,
                    "roughness_rate": factors.roughness_rate,
                    "blading_effect": factors.blading_effect,
                    "by_group": [list(each) for each in factors.by_group],
                }
                if has_news
                else None,
                "left_out": found.gravel.n_left_out + found.n_left_out,
                "accepted": accept,
            }
        )
        return
    say(found.summary())
    n_out = found.gravel.n_left_out + found.n_left_out
    if n_out:
        say(f"Left out: {n_out} pairs of readings, for gravel placed between or too little to see.")
    if accept:
        remark(f"version {found.policy.version} of the thresholds is in force")
    elif has_news:
        remark("nothing was changed; take it over with --accept")


def _fit(groups: Any, fit: Any) -> dict[str, Any]:
    return {
        "factor": fit.factor,
        "bias_before_pct": _plain(fit.bias_before_pct),
        "bias_after_pct": _plain(fit.bias_after_pct),
        "groups": [
            {
                "group": each.group,
                "factor": each.factor,
                "low": each.low,
                "high": each.high,
                "n": each.n,
                "is_prior": each.is_prior,
            }
            for each in groups
        ],
    }


def _plain(value: float) -> float | None:
    return value if value == value else None  # NaN is nothing in JSON


COMMANDS = (("fit", fit, False),)
