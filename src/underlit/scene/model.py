"""The scene: all tables of a scene file, in SI."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field, PrivateAttr

from underlit.scene.fields import Entries, Table
from underlit.scene.ground import Substrate
from underlit.scene.hardscape import Hardscape
from underlit.scene.lamps import Channel, Fixture, Window
from underlit.scene.plants import Floaters, Plant
from underlit.scene.tank import Tank
from underlit.scene.use import Meter, Run, Schedule
from underlit.scene.water import Water


class Scene(Table):
    """A planted tank and its lamps, as read from a scene file.

    Attribute paths are the words of the file (`scene.tank.length`, `scene.fixture[0].channel[0].power`;
    `from` is `from_`). Numbers are in m, rad, W, umol s-1, umol J-1, 1/m; wavelengths in nm, temperatures in
    degC, times in h.
    """

    title: str = Field("", max_length=200, description="title", examples=["Kitchen cube"])
    notes: str = Field("", max_length=100_000, description="free text", examples=["Planted in May."])
    tank: Tank = Field(description="the tank")
    water: Water = Field(default_factory=Water, description="what fills it")
    substrate: Substrate = Field(default_factory=Substrate, description="the soil")
    hardscape: Annotated[tuple[Hardscape, ...], Entries(500, least=0, what="pieces")] = Field(
        (), description="stones, wood and other opaque things, as `[[hardscape]]`"
    )
    plant: Annotated[tuple[Plant, ...], Entries(200, least=0, what="zones")] = Field(
        (), description="plant zones, as `[[plant]]`"
    )
    floaters: Floaters | None = Field(None, description="floating plants")
    fixture: Annotated[tuple[Fixture, ...], Entries(200, least=0, what="fixtures")] = Field(
        (), description="lamps, as `[[fixture]]`"
    )
    window: Window | None = Field(None, description="light from a window")
    schedule: Schedule = Field(default_factory=Schedule, description="the light's day")
    meter: Annotated[tuple[Meter, ...], Entries(200, least=0, what="meters")] = Field(
        (), description="spots where a meter is held, as `[[meter]]`"
    )
    run: Run = Field(default_factory=Run, description="what to compute")

    _path: Path | None = PrivateAttr(default=None)
    _folder: Path | None = PrivateAttr(default=None)
    _name: str = PrivateAttr(default="scene")
    _text: str = PrivateAttr(default="")
    _warnings: list[str] = PrivateAttr(default=[])
    _derived: dict[str, str] = PrivateAttr(default={})

    @property
    def path(self) -> Path | None:
        """File it was read from."""
        return self._path

    @property
    def folder(self) -> Path | None:
        """Folder that its file names start from."""
        return self._folder

    @property
    def name(self) -> str:
        """What messages call it: the name of its file."""
        return self._name

    @property
    def text(self) -> str:
        """Text of the scene file."""
        return self._text

    @property
    def warnings(self) -> list[str]:
        """Sentences on what is allowed but unlikely to be meant, or assumed."""
        return self._warnings

    @property
    def derived(self) -> dict[str, str]:
        """Values not in the file that were worked out from others: key path to value and reason."""
        return self._derived

    @property
    def channels(self) -> list[tuple[Fixture, Channel]]:
        """All channels with their fixtures, in the order of the file."""
        return [(fixture, channel) for fixture in self.fixture for channel in fixture.channel]

    def emitter_height(self, fixture: Fixture) -> float:
        """Height of a fixture's emitters above the inside bottom. [m]"""
        above = {"water": self.water.level, "rim": self.tank.height, "bottom": 0.0}
        return fixture.height + above[fixture.height_above]

    def file(self, name: str) -> Path:
        """A file named in the scene.

        Parameters
        ----------
        name : str
            As in the scene file, from its folder.
        """
        return (self._folder or Path()) / name
