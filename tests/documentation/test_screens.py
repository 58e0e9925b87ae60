"""The pictures of the screens are kept, shown and small, and the drawing is what the program draws today."""

from documentation.screens import DRAWING, SCREENS, SHOTS, drawing
from partkin.tables.reader import shipped


def test_every_picture_is_kept_and_shown():
    names = {DRAWING, *SHOTS}
    assert {path.name for path in SCREENS.iterdir()} == names
    assert sum(path.stat().st_size for path in SCREENS.iterdir()) < 400_000
    told = "".join(page.read_text(encoding="utf-8") for page in SCREENS.parent.glob("*.md"))
    assert all(f"](screens/{name})" in told for name in names)


def test_the_kept_drawing_is_what_is_drawn():
    assert (SCREENS / DRAWING).read_text(encoding="utf-8") == drawing(shipped("data") / "demo")
