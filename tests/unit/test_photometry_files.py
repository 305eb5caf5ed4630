"""Photometric files: what is read, what is refused, and that nothing else can happen."""

from __future__ import annotations

import random

import numpy as np
import pytest

from underlit.errors import DataError
from underlit.photometry import Distribution, Opening, read_distribution
from underlit.photometry.eulumdat import parse_eulumdat
from underlit.photometry.lm63 import parse_lm63
from underlit.photometry.tm33 import parse_tm33

FIRST_LINES = {
    "1986": "Report 12 of a bar",
    "1991": "IESNA91",
    "1995": "IESNA:LM-63-1995",
    "2002": "IESNA:LM-63-2002",
    "2019": "IES:LM-63-2019",
}
VERTICAL = np.arange(0.0, 181.0, 15.0)


def beam(vertical_deg, azimuth_deg, *, lean_0=0.0, lean_90=0.0):
    """An intensity [cd] that leans towards azimuth 0 and 90; smooth, above zero, one value straight down."""
    theta, phi = np.radians(vertical_deg), np.radians(azimuth_deg)
    side = np.sin(theta)
    return 100.0 * (
        1.5
        + np.cos(theta)
        + side * (lean_0 * np.cos(phi) + lean_90 * np.sin(phi))
        + 0.3 * side * np.cos(2 * phi)
    )


def grid(azimuth, **lean):
    return beam(VERTICAL[None, :], np.asarray(azimuth, float)[:, None], **lean)


def lm63(azimuth, intensity, vertical=VERTICAL, *, edition="2002", head="1 -1 1", kind="1", opening="2 0 0 0",
         tail="1 1 30", tilt="TILT=NONE", per_line=10):  # fmt: skip
    numbers = [*vertical, *azimuth, *np.ravel(intensity)]
    rows = [" ".join(f"{x:.9g}" for x in numbers[i : i + per_line]) for i in range(0, len(numbers), per_line)]
    counts = f"{head} {len(vertical)} {len(azimuth)} {kind} {opening}"
    return "\n".join([FIRST_LINES[edition], "[LUMINAIRE] test bar", tilt, counts, tail, *rows]) + "\n"


def eulumdat(
    symmetry, stored, intensity, *, planes=24, lamps="1", lumens="1000", comma=False, sets=1, **lines
):
    """`lines` replaces single lines: `l22="50"`."""
    head = [
        "maker",
        "1",
        symmetry,
        planes,
        360 / planes,
        len(VERTICAL),
        15,
        "report",
        "test bar",
        "7",
        "f",
        "d",
    ]
    head += [600, 80, 30, 540, 60, 0, 0, 0, 0, 0, 0, 1, 0, sets]
    for number, value in lines.items():
        head[int(number[1:]) - 1] = value
    head += [lamps, "LED", lumens, "6500", "80", "12,5" if comma else "12.5"] * sets + [0.5] * 10
    numbers = [f"{x:.9g}" for x in [*np.arange(planes) * 360 / planes, *VERTICAL, *np.ravel(intensity)]]
    text = "\r\n".join([str(x) for x in head] + numbers) + "\r\n"
    return text.replace(".", ",") if comma else text


def tm33(
    azimuth, intensity, *, block="PhotonData", name="PhotonIntensity", extra="", kind="", vertical=VERTICAL
):
    data = "".join(
        f'<IntData h="{h:g}" v="{v:g}">{intensity[i][j]:.9g}</IntData>'
        for i, h in enumerate(azimuth)
        for j, v in enumerate(vertical)
    )
    return (
        f"<IESTM33-22><Version>1.1</Version><Header><Description>test bar</Description></Header>{kind}"
        f"<Emitter><Quantity>1</Quantity><InputWattage>40</InputWattage><{block}><{name}>{extra}{data}</{name}>"
        f"</{block}></Emitter></IESTM33-22>"
    )


# --- LM-63 ---------------------------------------------------------------------------------------------

LM63_RANGES = [
    pytest.param([0.0], {}, id="axial"),
    pytest.param(np.arange(0, 91, 15.0), {}, id="quadrants"),
    pytest.param(np.arange(0, 181, 15.0), {"lean_0": 0.7}, id="halves about 0-180"),
    pytest.param(np.arange(90, 271, 15.0), {"lean_90": 0.7}, id="halves about 90-270"),
    pytest.param(np.arange(0, 361, 15.0), {"lean_0": 0.7, "lean_90": 0.4}, id="none, closed"),
    pytest.param(np.arange(0, 346, 15.0), {"lean_0": 0.7, "lean_90": 0.4}, id="none, open"),
]


@pytest.mark.parametrize(("azimuth", "lean"), LM63_RANGES)
def test_lm63_symmetries_unfold_to_the_whole_lamp(azimuth, lean):
    azimuth = np.asarray(azimuth)
    value = grid(azimuth, **lean) if len(azimuth) > 1 else beam(VERTICAL[None], 45.0)
    read = parse_lm63(lm63(azimuth, value), "x.ies")
    if len(azimuth) == 1:
        np.testing.assert_allclose(read.at(VERTICAL, 200.0), beam(VERTICAL, 45.0), rtol=1e-8)
        return
    np.testing.assert_allclose(read.azimuth_deg, np.arange(0, 360, 15.0))
    np.testing.assert_allclose(read.intensity, grid(read.azimuth_deg, **lean), rtol=1e-8)
    assert read.notes == ()


@pytest.mark.parametrize("edition", FIRST_LINES)
def test_lm63_editions_and_their_factors(edition):
    """Up to 1991 the second factor is the ballast-lamp factor and multiplies too."""
    text = lm63([0.0], [[1.0] * len(VERTICAL)], edition=edition, head="2 500 3", tail="0.5 0.8 30")
    read = parse_lm63(text, "x.ies")
    expected = 3 * 0.5 * (0.8 if edition in ("1986", "1991") else 1.0)
    np.testing.assert_allclose(read.intensity, expected)
    assert read.flux == pytest.approx(4 * np.pi * expected)
    assert (read.rated_lumens, read.watts, read.name) == (1000.0, 30.0, "test bar")


@pytest.mark.parametrize("per_line", [1, 3, 17, 10_000])
def test_lm63_is_one_stream_of_numbers(per_line):
    azimuth = np.arange(0, 91, 15.0)
    text = lm63(azimuth, grid(azimuth), per_line=per_line)
    np.testing.assert_allclose(
        parse_lm63(text, "x").intensity, parse_lm63(lm63(azimuth, grid(azimuth)), "x").intensity
    )
    assert parse_lm63(text.replace(" ", ", ").replace("TILT=", "Tilt ="), "x").flux > 0


def test_lm63_absolute_photometry_has_no_rated_lumens():
    read = parse_lm63(lm63([0.0], [[1.0] * len(VERTICAL)], tail="1 1 0"), "x")
    assert np.isnan(read.rated_lumens)
    assert np.isnan(read.watts)


@pytest.mark.parametrize(
    ("opening", "expected"),
    [
        ("2 0 0 0", Opening()),
        ("2 0.06 0.54 0", Opening("rectangle", 0.54, 0.06)),
        ("1 1 2 0", Opening("rectangle", 0.6096, 0.3048)),
        ("2 -0.1 0 0", Opening("disc", 0.1, 0.1)),
        ("2 -0.1 -0.2 0", Opening("disc", 0.2, 0.1)),
        ("2 0.06 0.54 0.1", Opening("other")),
        ("2 0 0.5 -0.05", Opening("other")),
    ],
)
def test_lm63_opening(opening, expected):
    read = parse_lm63(lm63([0.0], [[1.0] * len(VERTICAL)], opening=opening), "x")
    assert read.opening.shape == expected.shape
    assert (read.opening.along_m, read.opening.across_m) == pytest.approx(
        (expected.along_m, expected.across_m)
    )


@pytest.mark.parametrize(
    ("vertical", "downward"), [((0, 90), 1.0), ((90, 180), 0.0), ((0, 180), 0.5), ((0, 60), 1.0)]
)
def test_light_below_and_above(vertical, downward):
    angles = np.arange(vertical[0], vertical[1] + 1, 10.0)
    read = parse_lm63(lm63([0.0], [[5.0] * len(angles)], angles), "x")
    low, high = np.cos(np.radians(vertical))
    assert read.flux == pytest.approx(2 * np.pi * 5.0 * (low - high), rel=1e-12)
    assert read.downward_share == pytest.approx(downward, abs=1e-12)
    assert any("taken as dark" in note for note in read.notes) == (vertical == (0, 60))
    assert read.at(angles[0] - 1.0, 30.0) == 0.0 or angles[0] == 0.0


def test_a_seam_that_does_not_close_is_noted():
    azimuth = np.arange(0, 361, 30.0)
    value = np.ones((13, len(VERTICAL)))
    value[-1] = 1.5
    assert "differ" in parse_lm63(lm63(azimuth, value), "x").notes[0]
    assert "interpolated" in parse_lm63(lm63(azimuth[:10], value[:10]), "x").notes[0]


ONE = [[1.0] * len(VERTICAL)]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (lm63([0.0], ONE, tilt="TILT=INCLUDE"), "(?s)x.ies:3.*TILT=INCLUDE.*which is not modelled"),
        (lm63([0.0], ONE, tilt="TILT=a.tlt"), "TILT=a.tlt"),
        (lm63([0.0], ONE, tilt="nothing"), "no line `TILT=`"),
        (lm63([0.0], ONE, kind="2"), "(?s)Type B, expected Type C.*floodlights"),
        (lm63([0.0], ONE, kind="3"), "Type A"),
        (lm63([0.0], ONE, kind="7"), "got 7 for the photometric type"),
        (lm63([0.0], ONE, opening="3 0 0 0"), "neither 1"),
        (lm63([0.0], ONE, head="1 -1 0"), "got 0 for the multiplier"),
        (lm63([0.0], ONE)[:-10], "(?s)ends early: got 8 of 13 intensities.*cut off"),
        (lm63([0.0], ONE) + "4 5", "(?s)x.ies:9.*2 more numbers"),
        (lm63([0.0], ONE).replace(" 15 ", " x15 "), "(?s)x.ies:6.*got `x15` among the vertical angles"),
        (lm63([0.0], ONE).replace(" 15 ", " 45 "), "vertical angles do not rise: 45, then 30"),
        (lm63([0.0], ONE).replace(" 180", " 190"), "is 190 deg, expected 0 to 180"),
        (lm63([0.0, 60.0], ONE * 2), "azimuth 0 to 60 deg"),
        (lm63([45.0], ONE), "azimuth 45 to 45 deg"),
        (lm63([0.0], [[0.0] * len(VERTICAL)]), "all intensities are zero"),
        (lm63([0.0], [[-1.0] * len(VERTICAL)]), "intensity is -1"),
        (lm63([0.0], [[1e308] * len(VERTICAL)], head="1 -1 1e9"), "add up to no number"),
        (lm63([0.0], ONE, head="1 -1 1 2.5"), "got 2.5 for the number of vertical angles"),
        ("", "no line `TILT=`"),
    ],
)
def test_lm63_refuses_with_a_reason(text, match):
    with pytest.raises(DataError, match=match):
        parse_lm63(text, "x.ies")


# --- EULUMDAT ------------------------------------------------------------------------------------------

LDT_STORED = [
    pytest.param(0, np.arange(0, 360, 15.0), {"lean_0": 0.7, "lean_90": 0.4}, id="none"),
    pytest.param(2, np.arange(0, 181, 15.0), {"lean_0": 0.7}, id="about C0-C180"),
    pytest.param(3, np.arange(270, 451, 15.0), {"lean_90": 0.7}, id="about C90-C270"),
    pytest.param(4, np.arange(0, 91, 15.0), {}, id="both"),
]


@pytest.mark.parametrize("comma", [False, True])
@pytest.mark.parametrize(("symmetry", "stored", "lean"), LDT_STORED)
def test_eulumdat_symmetries_unfold_to_the_whole_lamp(symmetry, stored, lean, comma):
    read = parse_eulumdat(eulumdat(symmetry, stored, grid(stored, **lean), comma=comma), "x.ldt")
    np.testing.assert_allclose(read.azimuth_deg, np.arange(0, 360, 15.0))
    np.testing.assert_allclose(read.intensity, grid(read.azimuth_deg, **lean), rtol=1e-8)
    assert read.watts == 12.5


@pytest.mark.parametrize("planes", [1, 24])
def test_eulumdat_axial(planes):
    read = parse_eulumdat(eulumdat(1, [0.0], beam(VERTICAL, 45.0), planes=planes), "x.ldt")
    np.testing.assert_allclose(read.at(VERTICAL, 123.0), beam(VERTICAL, 45.0), rtol=1e-8)


def test_eulumdat_scales_with_the_lamps():
    read = parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), lumens="3000"), "x.ldt")
    assert read.flux == pytest.approx(3 * 4 * np.pi * 50.0)
    assert read.rated_lumens == 3000.0
    absolute = parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), lamps="-1"), "x.ldt")
    assert np.isnan(absolute.rated_lumens)


def test_eulumdat_length_lies_along_c90():
    text = eulumdat(1, [0.0], np.full(13, 50.0))
    assert parse_eulumdat(text, "x").opening == Opening("rectangle", along_m=0.06, across_m=0.54)
    round_one = eulumdat(1, [0.0], np.full(13, 50.0), l17=0)
    assert parse_eulumdat(round_one, "x").opening == Opening("disc", 0.54, 0.54)
    assert parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), l16=0, l17=0), "x").opening == Opening()
    assert parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), l18=20), "x").opening.shape == "other"


@pytest.mark.parametrize(
    ("change", "note"),
    [
        ({"l22": 90}, "states a downward share of 90 %, its intensities give 50.0 %"),
        ({"l23": 80}, "states a light output ratio of 80 %, its intensities give 62.8 %"),
        ({"l24": 2}, "conversion factor"),
        ({"l25": 15}, "tilted by 15 deg"),
        ({"sets": 2}, "Of 2 lamp sets"),
        ({"lumens": ""}, "flux of the lamps is not given"),
    ],
)
def test_eulumdat_says_what_does_not_fit(change, note):
    fitting = parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), l22=50, l23=62.8), "x")
    assert fitting.notes == ()
    assert any(
        note in said for said in parse_eulumdat(eulumdat(1, [0.0], np.full(13, 50.0), **change), "x").notes
    )


QUADRANTS = np.arange(0, 91, 15.0)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (eulumdat(5, [0.0], ONE), "(?s)x.ldt:3.*got 5 for the symmetry, expected a whole number from 0 to 4"),
        (eulumdat(4, QUADRANTS, grid(QUADRANTS), l4=22), "(?s)x.ldt"),
        (
            eulumdat(4, np.arange(5), np.ones((5, 13)), planes=18),
            "with symmetry 4 the planes held go from 0 to 80",
        ),
        (eulumdat(4, QUADRANTS, grid(QUADRANTS))[:-30], "(?s)expected at least 170.*cut off"),
        (eulumdat(4, QUADRANTS, grid(QUADRANTS)) + "1\r\n2\r\n", "(?s)x.ldt:171.*2 more lines"),
        (eulumdat(1, [0.0], ONE, l6="many"), "(?s)x.ldt:6.*got `many` for the number of angles per plane"),
        (eulumdat(1, [0.0], ONE, lumens="-5"), "flux of the lamps"),
        (
            eulumdat(1, [0.0], ONE).replace("\r\n15\r\n", "\r\n\r\n", 2),
            "empty line among the C planes|expected",
        ),
        (lm63([0.0], ONE), "(?s)this is an LM-63 file.*ends in .ies"),
        ("", "has 0 lines"),
    ],
)
def test_eulumdat_refuses_with_a_reason(text, match):
    with pytest.raises(DataError, match=match):
        parse_eulumdat(text, "x.ldt")


# --- TM-33 ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("block", "name", "unit"),
    [
        ("PhotonData", "PhotonIntensity", "umol/s/sr"),
        ("RadiantData", "RadiantIntensity", "W/sr"),
        ("LuminousData", "LuminousIntensity", "cd"),
    ],
)
def test_tm33_quantities(block, name, unit):
    azimuth = np.arange(0, 361, 15.0)
    lean = {"lean_0": 0.7, "lean_90": 0.4}
    read = parse_tm33(
        tm33(azimuth, grid(azimuth, **lean), block=block, name=name, extra="<Multiplier>2</Multiplier>"), "x"
    )
    assert (read.unit, read.watts, read.name) == (unit, 40.0, "test bar")
    np.testing.assert_allclose(read.intensity, 2 * grid(read.azimuth_deg, **lean), rtol=1e-8)


@pytest.mark.parametrize(
    ("stated", "azimuth", "lean"),
    [
        ("Symm_Bi_0", np.arange(0, 181, 15.0), {"lean_0": 0.7}),
        ("Symm_Bi_90", np.arange(90, 271, 15.0), {"lean_90": 0.7}),
        ("Symm_Quad", np.arange(0, 91, 15.0), {}),
        ("Symm_None", np.arange(0, 360, 15.0), {"lean_0": 0.7, "lean_90": 0.4}),
        ("", np.arange(0, 181, 15.0), {"lean_0": 0.7}),
    ],
)
def test_tm33_symmetries(stated, azimuth, lean):
    read = parse_tm33(
        tm33(azimuth, grid(azimuth, **lean), extra=f"<Symm>{stated}</Symm>" if stated else ""), "x"
    )
    np.testing.assert_allclose(read.intensity, grid(np.arange(0, 360, 15.0), **lean), rtol=1e-8)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("<a/>", "the XML is `a`, expected an IES TM-33"),
        ("<IESTM33>", "not well-formed"),
        ("<IESTM33/>", "holds no intensities"),
        ("<!DOCTYPE a><IESTM33/>", "document type"),
        (tm33([0.0], ONE).replace('v="45"', 'v="30"'), "two intensities for azimuth 0 and vertical angle 30"),
        (
            tm33([0.0, 90.0], ONE * 2).replace('<IntData h="90" v="30">1</IntData>', ""),
            "25 intensities for 2 azimuths",
        ),
        (tm33([0.0], ONE).replace('v="30">1<', 'v="30">one<'), "got `one`"),
        (
            tm33([0.0], ONE, kind="<Gonioradiometer><Type>IES_B</Type></Gonioradiometer>"),
            "(?s)of type IES_B, expected Type C",
        ),
        (
            tm33([0.0], ONE).replace("</IESTM33-22>", "") + tm33([0.0], ONE)[12:],
            "2 emitters have intensities",
        ),
    ],
)
def test_tm33_refuses_with_a_reason(text, match):
    with pytest.raises(DataError, match=match):
        parse_tm33(text, "x.xml")


# --- all files -----------------------------------------------------------------------------------------


def test_turning_a_lamp_moves_its_planes():
    azimuth = np.arange(0, 360, 15.0)
    lean = {"lean_0": 0.7, "lean_90": 0.4}
    read = parse_lm63(lm63(np.append(azimuth, 360.0), grid(np.append(azimuth, 360.0), **lean)), "x")
    turned = read.turned(90.0)
    np.testing.assert_allclose(turned.at(40.0, azimuth + 90.0), read.at(40.0, azimuth))
    assert turned.flux == pytest.approx(read.flux, rel=1e-12)


def test_between_the_angles_intensity_is_linear():
    read = Distribution(
        np.array([0.0, 90.0]), np.array([0.0, 120.0, 240.0]), np.array([[1, 1], [3, 1], [5, 1.0]])
    )
    assert read.at(45.0, 60.0) == pytest.approx(1.5)
    assert read.at(0.0, [300.0, 360.0]) == pytest.approx([3.0, 1.0])
    mean = (read.intensity.mean(axis=0)[0] - 1.0) * (1.0 - 2.0 / np.pi) + 1.0
    assert read.flux == pytest.approx(2 * np.pi * mean)


def test_unknown_endings_and_missing_files(tmp_path):
    with pytest.raises(DataError, match=r"got the file `a.txt`, expected one that ends in .ies, .ldt, .xml"):
        read_distribution("a.txt")
    with pytest.raises(DataError, match="no such file"):
        read_distribution(tmp_path / "a.ies")
    (tmp_path / "b.ies").write_bytes(b"\x00\x01")
    with pytest.raises(DataError, match="binary"):
        read_distribution(tmp_path / "b.ies")


_BAD = [
    "nan",
    "inf",
    "-1",
    "1e308",
    "0",
    "99999999",
    "1e400",
    "x",
    "1,5",
    "",
    "4",
    "3",
    "180",
    "360",
    "-0.5",
    "é",
]


def mutated(text: str, rng: random.Random) -> str:
    """One to three slips: characters lost, added or doubled; lines lost, doubled or changed; the end cut off."""
    for _ in range(rng.randint(1, 3)):
        lines = text.split("\n")
        i = rng.randrange(len(text) if rng.random() < 0.4 else min(len(text), 900)) if text else 0
        j = rng.randrange(min(len(lines), 60))
        slip = rng.randrange(7)
        if slip == 0:
            text = text[:i] + text[i + rng.randint(1, 40) :]
        elif slip == 1:
            text = text[:i] + rng.choice("0123456789-+.,eE xN[]<>=\n\t\x1a\0é") + text[i:]
        elif slip == 2:
            text = text[:i]
        elif slip == 3:
            text = "\n".join([*lines[:j], lines[rng.randrange(len(lines))], *lines[j:]])
        elif slip == 4:
            text = "\n".join(lines[:j] + lines[j + 1 :])
        elif slip == 5:
            words = lines[j].split(" ")
            words[rng.randrange(len(words))] = rng.choice(_BAD)
            text = "\n".join([*lines[:j], " ".join(words), *lines[j + 1 :]])
        else:
            text = text[:i] + text[i : i + 30] + text[i:]
    return text


@pytest.mark.parametrize("ending", [".ies", ".ldt", ".xml"])
def test_spoilt_files_are_refused_or_still_lamps(ending, tmp_path):
    azimuth = np.arange(0, 91, 15.0)
    whole = {
        ".ies": lm63(azimuth, grid(azimuth)),
        ".ldt": eulumdat(4, azimuth, grid(azimuth)).replace("\r", ""),
        ".xml": tm33(azimuth, grid(azimuth)).replace("><", ">\n<"),
    }[ending]
    path = tmp_path / f"lamp{ending}"
    refused = 0
    for seed in range(200):
        path.write_bytes(mutated(whole, random.Random(seed)).encode("utf-8"))
        try:
            read = read_distribution(path)
        except DataError as error:
            refused += 1
            assert str(path) in error.where
            assert len(error.what) > 15
            continue
        assert np.isfinite(read.flux)
        assert read.flux > 0.0
        assert (np.diff(read.vertical_deg) > 0.0).all()
        assert (np.diff(read.azimuth_deg) > 0.0).all()
        assert read.intensity.shape == (len(read.azimuth_deg), len(read.vertical_deg))
        assert (read.intensity >= 0.0).all()
    assert 60 < refused < 200
