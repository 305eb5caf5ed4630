"""Make the mesh files that the scenes import: run from anywhere, `python scenes/make_meshes.py`.

The stones of the rock slope stand for what a keeper might have scanned: files of different formats and units.
They are grown from seeds, so nothing in them is anybody's.
"""

from pathlib import Path

from underlit.geometry import save_mesh, stone

SCENES = Path(__file__).parent

# file, unit of the file, size x y z [m], seed, roughness, triangles
ROCK_SLOPE = [
    ("main.stl", "mm", (0.165, 0.115, 0.145), 2, 0.26, 60_000),
    ("second.glb", "m", (0.130, 0.095, 0.110), 6, 0.26, 30_000),
    ("small-1.stl", "mm", (0.085, 0.070, 0.068), 5, 0.24, 8_000),
    ("small-2.stl", "mm", (0.070, 0.060, 0.052), 4, 0.24, 8_000),
    ("small-3.stl", "mm", (0.055, 0.045, 0.036), 3, 0.24, 8_000),
]


def main() -> None:
    folder = SCENES / "b-rock-slope" / "stones"
    folder.mkdir(parents=True, exist_ok=True)
    for file, unit, size, seed, roughness, triangles in ROCK_SLOPE:
        mesh = stone(size, style="faceted", seed=seed, roughness=roughness, triangles=triangles)
        save_mesh(mesh, folder / file, unit)
        print(f"{folder / file}: {mesh.report.triangles} triangles, coordinates in {unit}")


if __name__ == "__main__":
    main()
