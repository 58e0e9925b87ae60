"""docs/architecture.md says what the code does today."""

from documentation.architecture import HOLE_MM, PAGE, checked, page, walk, with_hole


def test_the_page_is_what_the_script_writes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python tests/documentation/architecture.py"


def test_a_hole_passes_through_at_most_twelve_classes() -> None:
    steps = checked(with_hole, lambda run: walk(run, HOLE_MM))
    classes = {step.holder.split(".")[0] for step in steps}
    assert {"Feature", "Positions", "Verdict"} <= classes
    assert len(classes) <= 12
