"""The measurements as one picture."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from benchmarks.merit import AREAS_CM
from benchmarks.report import Measured
from underlit.figures.style import LIGHT

SHADES = ("#0b6e75", "#5aa469", "#d99a2b")
MARKS = {"triangles": "o", "emitters": "s", "soil cells": "^", "bands": "D", "threads": "v"}


def draw(found: Measured, path) -> None:
    """Write the plot of all measurements as a PNG."""
    with LIGHT.context():
        figure = Figure(figsize=(10.0, 7.6), layout="constrained")
        axes = figure.subplots(2, 2)
        parts = (
            (_merits, found.rows),
            (_embree, found.rays),
            (_scaling, found.series),
            (_errors, found.errors),
        )
        for ax, (part, measured) in zip(axes.flat, parts, strict=True):
            if not measured:
                ax.set_visible(False)
                continue
            part(ax, found)
            ax.spines[["top", "right"]].set_visible(False)
            ax.set_axisbelow(True)
        figure.savefig(path, dpi=130)


def _merits(ax, found: Measured) -> None:
    rows = found.present()
    merit = [found.merits(row, found.plan.threads) for row in rows]
    at = np.arange(len(rows))[::-1]
    for k, (side, shade) in enumerate(zip(AREAS_CM, SHADES, strict=True)):
        ax.barh(at + 0.27 - 0.27 * k, [m[side] for m in merit], 0.25, color=shade, label=f"{side} cm areas")
    ax.set_yticks(at, [row.title.replace("`", "") for row in rows])
    ax.set_xscale("log")
    ax.grid(axis="x", color=LIGHT.faint, lw=0.7)
    ax.set_xlabel("1 / (mean relative variance x seconds)  [1/s]")
    ax.set_title(f"Figure of merit, {found.plan.threads} threads", loc="left")
    ax.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.4, -0.16), ncol=3)


def _embree(ax, found: Measured) -> None:
    at = np.arange(len(found.rays))
    ax.axhline(1.0, color=LIGHT.muted, lw=1.0, zorder=0)
    for shift, part, shade, label in (
        (-0.2, "ours", SHADES[0], "closest-hit rays"),
        (0.2, "photons", SHADES[2], "whole photons of 16 bands"),
    ):
        ratio = [row.ratio(part) for row in found.rays]
        for bar, value in zip(ax.bar(at + shift, ratio, 0.38, color=shade, label=label), ratio, strict=True):
            ax.annotate(
                f"{value:.2f}", (bar.get_x() + 0.19, value), (0, 3), textcoords="offset points", ha="center",
                bbox={"fc": "white", "ec": "none", "pad": 0.6},
            )  # fmt: skip
    ax.set_xticks(at, [f"{row.title.partition(',')[0]}\n{row.triangles:,}" for row in found.rays])
    ax.set_xlabel("triangles")
    ax.set_ylabel("rate over that of Embree's rays")
    ax.set_title("Beside Embree, one thread", loc="left")
    ax.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.5, -0.2), ncol=2)


def _scaling(ax, found: Measured) -> None:
    for series in found.series:
        if series.axis in MARKS:
            ax.plot(
                series.values, series.relative(), marker=MARKS[series.axis], ms=5, label=series.axis, lw=1.4
            )
    ax.set_xscale("log")
    ax.set_ylim(bottom=0.0)
    ax.grid(color=LIGHT.faint, lw=0.7)
    ax.set_xlabel("number of them")
    ax.set_ylabel("photons/s over that of the fewest")
    ax.set_title("Scaling", loc="left")
    ax.legend(frameon=False)


def _errors(ax, found: Measured) -> None:
    for side, shade in zip(AREAS_CM, SHADES, strict=True):
        percent = 100 * found.errors[side]
        ax.loglog(found.photons, percent, "o-", ms=4, color=shade, label=f"{side} cm areas")
    slope = 100 * found.errors[1][0] * np.sqrt(found.photons[0] / found.photons)
    ax.loglog(found.photons, slope, "--", color=LIGHT.muted, lw=1.0, label="1 / square root of photons")
    ax.legend(frameon=False)
    ax.grid(color=LIGHT.faint, lw=0.7)
    ax.set_xlabel("photons")
    ax.set_ylabel("stated relative error  [%]")
    ax.set_title("Error of the light on the soil", loc="left")
