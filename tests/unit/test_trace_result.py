"""What a result says of where it comes from."""

import hashlib

from bench import tank_text
from underlit.scene.loader import from_text
from underlit.tracer.run import trace


def test_every_file_of_the_scene_is_told_apart(tmp_path):
    """Spectrum, soil: all that a scene names shapes the numbers, so all of it has a digest in the result."""
    spectrum = tmp_path / "lamp.csv"
    spectrum.write_text("wavelength_nm,value\n" + "\n".join(f"{nm},1.0" for nm in range(380, 781, 10)))
    text = tank_text("20 cm", "20 cm", "20 cm", "15 cm").replace(
        'spectrum = "D65"', 'spectrum = { file = "lamp.csv", quantity = "W/nm" }'
    )
    res = trace(from_text(text, tmp_path), photons=100)
    assert res.file_digests == {"lamp.csv": hashlib.sha256(spectrum.read_bytes()).hexdigest()}
    res.save(tmp_path / "x.h5")
    assert type(res).open(tmp_path / "x.h5").file_digests == res.file_digests
