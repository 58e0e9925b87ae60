"""docs/architecture.md says what the code does today."""

from documentation.architecture import PAGE, page, walk_of_a_hole


def test_the_page_is_what_the_script_writes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python tests/documentation/architecture.py"


def test_a_hole_passes_through_at_most_twelve_classes() -> None:
    steps = walk_of_a_hole()
    classes = {step.holder.split(".")[0] for step in steps}
    assert {"Feature", "Positions", "Verdict"} <= classes
    assert len(classes) <= 12
