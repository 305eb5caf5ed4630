"""`underlit shade`: what the hardscape takes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from underlit.cli.options import dim_option, form_options, opened, put_out, result_argument

if TYPE_CHECKING:
    from underlit.results.result import Result


@click.command("shade", short_help="What stones and wood take, and which ground stays too dark.")
@result_argument
@click.option(
    "--bare", type=click.Path(path_type=Path), help="Trace without hardscape; default RESULT.bare.h5."
)
@click.option("--scene", type=click.Path(path_type=Path), help="Scene file, where it names other files.")
@dim_option
@form_options
def command(
    result: Path,
    bare: Path | None,
    scene: Path | None,
    dims: tuple[tuple[str, float], ...],
    form: str | None,
) -> None:
    """Compare the light with that of the same tank without its hardscape.

    \b
      underlit shade tank.h5
      underlit shade tank.h5 --scene tank.toml         its lamps are read from files
      underlit shade tank.h5 --csv > shade.csv

    The tank without hardscape is traced once, with the same photons and random numbers, and kept
    beside the result as tank.bare.h5. `underlit spot` says what shades any other spot.
    """
    from underlit.metrics.answers import shade_answer
    from underlit.scene import load_scene
    from underlit.tracer.sight import who_shades

    res, settings = opened(result), dict(dims)
    without = _bare(res, bare or result.with_suffix(".bare.h5"), scene)
    loaded = None if scene is None else load_scene(scene)
    put_out(shade_answer(res, without, settings, lambda spot: who_shades(res, spot, settings, loaded)), form)


def _bare(res: Result, path: Path, scene: Path | None) -> Result:
    """The trace without hardscape: the one that is there, if it fits, or a new one."""
    from underlit.cli.progress import Meter
    from underlit.cli.tables import console
    from underlit.results import io
    from underlit.scene import scene_from_text
    from underlit.scene.bare import without_hardscape
    from underlit.tracer import trace
    from underlit.tracer.warm import is_compiled

    text = without_hardscape(res.scene_text)
    if path.exists():
        known = opened(path)
        if known.scene_text == text and known.seed == res.seed and known.n_photons == res.n_photons:
            return known
    io.check_writable(path)
    screen = console(stderr=True)
    screen.print("Tracing the tank without its hardscape.", highlight=False)
    folder = None if scene is None else scene if scene.is_dir() else scene.parent
    bare = scene_from_text(text, folder, name=res.scene_file)
    with Meter(screen, quiet=False, compiles=not is_compiled()) as meter:
        found = trace(bare, photons=res.n_photons, seed=res.seed, progress=meter.update)
    if found.stop_reason == "interrupted":
        raise click.Abort
    found.save(path)
    return found
