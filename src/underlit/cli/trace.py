"""`underlit trace`: from a scene file to a result file."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

import click

from underlit.cli.values import Count, Percent


@click.command("trace", short_help="Trace a scene's light into a result file.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Result file; default SCENE.h5, here.")
@click.option(
    "--precision", type=Percent(most=1.0), help="Stop at this standard error of the median soil cell: 3%."
)
@click.option("--photons", type=Count(), help="Trace so many photons instead: 20e6 or 20M.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Seed of the random numbers.")
@click.option("--threads", type=click.IntRange(1, 1024), help="Number of threads; default all cores.")
@click.option(
    "--device",
    type=click.Choice(["cpu", "gpu", "auto"]),
    default="cpu",
    help="Where to trace; default the CPU.",
)
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but errors.")
def command(
    scene: Path,
    output: Path | None,
    precision: float | None,
    photons: int | None,
    seed: int | None,
    threads: int | None,
    device: str,
    quiet: bool,
) -> int | None:
    """Trace the light of a scene and write the result file.

    \b
      underlit trace tank.toml -o tank.h5 --precision 3%
      underlit trace tank.toml --photons 20M --seed 7 --threads 2

    The estimate is shown as it converges. Ctrl-C stops and keeps what is there; a second Ctrl-C drops it.
    The same scene, seed and photons give the same result to the last bit, on any number of threads.
    What the options leave out is taken from [run] in the scene.
    """
    from underlit.tracer.warm import PhotonLoop

    if precision is not None and photons is not None:
        raise click.UsageError("Give --precision or --photons, not both.")
    if precision == 0.0:
        raise click.BadParameter("an error of 0 % would take for ever.", param_hint="--precision")
    # A first run compiles while what it needs besides is still loaded.
    with PhotonLoop() if device == "cpu" else nullcontext():
        return _trace(scene, output, precision, photons, seed, threads, device, quiet)


def _trace(
    path: Path,
    output: Path | None,
    precision: float | None,
    photons: int | None,
    seed: int | None,
    threads: int | None,
    device: str,
    quiet: bool,
) -> int | None:
    from underlit.cli.progress import Meter
    from underlit.cli.tables import console, print_cautions
    from underlit.results import io
    from underlit.scene import load_scene
    from underlit.scene.world import build_world
    from underlit.spectra import cautions
    from underlit.tracer import trace
    from underlit.tracer.warm import is_compiled

    scene = load_scene(path)
    world = build_world(scene)
    target = output or Path(f"{path.resolve().stem if path.is_file() else path.resolve().name}.h5")
    io.check_writable(target)
    screen = console(stderr=True)
    if not quiet:
        print_cautions([*scene.warnings, *world.warnings], screen)
    notices: list[str] = []
    with Meter(screen, quiet, compiles=device == "cpu" and not is_compiled()) as meter:
        result = trace(
            scene,
            precision=precision,
            photons=photons,
            seed=seed,
            threads=threads,
            world=world,
            progress=meter.update,
            device=device,
            notice=notices.append,
        )
    for notice in notices if not quiet else []:
        screen.print(notice, highlight=False)
    result.save(target)
    if not quiet:
        screen.print(
            f"Wrote [bold]{target}[/]. Look at it: underlit show {target}", highlight=False, soft_wrap=True
        )
        print_cautions([cautions()["short"]], screen)
    if result.stop_reason == "interrupted":
        click.echo("Stopped early: the result holds what was traced until then.", err=True)
        return 130
    return None
