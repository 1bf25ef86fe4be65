"""`job sheet` as it is typed: three formats, a photo with known pads, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.views.job_cases import SEVEN, jpeg


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory, wren: Path) -> Path:
    from nettrace.cli.main import main

    path = tmp_path_factory.mktemp("job") / "wren.job"
    assert main(["job", "open", str(path), str(wren), "--title", "Wren 0042"]) == 0
    assert main(["job", "mark", str(path), "missing", *SEVEN]) == 0
    return path


def test_the_page_is_written_and_the_verdict_said(run: Run, job: Path, tmp_path: Path) -> None:
    done = run("job", "sheet", job, "-o", tmp_path / "w.html")
    assert done.code == 0
    assert done.err.strip().endswith("w.html: not restored")
    text = (tmp_path / "w.html").read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert all(key in text for key in SEVEN)


def test_markdown_by_the_ending(run: Run, job: Path, tmp_path: Path) -> None:
    assert run("job", "sheet", job, "-o", tmp_path / "w.md").code == 0
    assert (tmp_path / "w.md").read_text(encoding="utf-8").startswith("# Job sheet: Wren 0042\n")


def test_json_says_what_was_written_and_how_the_photo_fits(
    run: Run, job: Path, tmp_path: Path
) -> None:
    photo = tmp_path / "p.jpg"
    photo.write_bytes(jpeg(800, 600))
    # places of samples/wren, mm: at 50 px/mm, not turned, with the corner at 108, -124
    places = {"J3.1": None, "J3.3": None, "R17.1": None, "R12.1": None}
    from nettrace.loading import load

    board = load(Path(__file__).resolve().parents[2] / "samples" / "wren").board
    words = []
    for name in places:
        refdes, number = name.split(".")
        pin = board.part_by_key[refdes].pin(number)
        assert pin is not None
        assert pin.x is not None
        assert pin.y is not None
        words.append(f"{name}={50 * (pin.x - 108):.2f},{-50 * (pin.y + 124):.2f}")
    out = tmp_path / "w.html"
    done = run(
        "job", "sheet", job, "-o", out, "--photo", photo, "--fix", " ".join(words[:2]),
        "--fix", words[2], "--fix", words[3], "--json",
    )  # fmt: skip
    assert done.code == 0
    sheet = done.json["sheet"]
    assert (sheet["format"], sheet["verdict"], sheet["bytes"]) == (
        "html", "not restored", out.stat().st_size,
    )  # fmt: skip
    fit = sheet["photo"]
    assert (fit["map"], fit["side"], fit["mirrored"], fit["agrees"]) == (
        "affine", "top", False, True,
    )  # fmt: skip
    assert fit["px_per_mm"] == pytest.approx(50, abs=0.01)
    assert fit["degrees"] == pytest.approx(0, abs=0.05)
    assert [item["pad"] for item in fit["known_pads"]] == list(places)
    assert "data:image/jpeg;base64," in out.read_text(encoding="utf-8")


def test_a_file_that_is_there_is_not_replaced_unasked(run: Run, job: Path, tmp_path: Path) -> None:
    out = tmp_path / "w.md"
    out.write_text("mine", encoding="utf-8")
    done = run("job", "sheet", job, "-o", out)
    assert done.code == 2
    assert "--force" in done.err
    assert out.read_text(encoding="utf-8") == "mine"
    assert run("job", "sheet", job, "-o", out, "--force").code == 0


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["-o", "w.txt"], 2, "an ending .html, .md or .pdf"),
        (["-o", "w.html", "--photo", "p.jpg"], 2, "--photo alone"),
        (["-o", "w.html", "--fix", "J3.1=1,2"], 2, "--fix alone"),
        (["-o", "w.html", "--photo", "none.jpg", "--fix", "J3.1=1,2 J3.3=9,9 C7.1=1,9"], 4,
         "cannot open none.jpg"),
        (["-o", "w.html", "--photo", "none.jpg", "--fix", "J3.99=1,2"], 3, "J3 has no pin '99'"),
        (["-o", "w.html", "--photo", "none.jpg", "--fix", "J3.1=1;2"], 2, "PAD=RIGHT,DOWN"),
        (["-o", "none/w.html"], 4, "cannot write"),
        (["-o", "w.html", "--known-good", "none.csv"], 4, "none.csv"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said(
    run: Run,
    job: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    code: int,
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("job", "sheet", job, *words)
    assert done.code == code
    assert done.err.startswith("error: ")
    assert says in done.err
    assert list(tmp_path.iterdir()) == []


def test_pdf_without_a_browser_says_what_to_do(
    run: Run, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("nettrace.views.programs.find_browser", lambda: None)
    done = run("job", "sheet", job, "-o", tmp_path / "w.pdf")
    assert done.code == 4
    assert "Write FILE.html, and print it from any browser" in done.err
    assert not (tmp_path / "w.pdf").exists()


def test_a_sheet_is_laid_out_for_a4_or_for_letter(run: Run, wren: Path, tmp_path: Path) -> None:
    job = tmp_path / "paper.job"
    run("job", "open", job, wren)
    run("job", "mark", job, "missing", "R12")
    for words, size in (((), "A4"), (("--paper", "letter"), "letter"), (("--paper", "a4"), "A4")):
        page = tmp_path / "paper.html"
        assert run("job", "sheet", job, "-o", page, "--force", *words).code == 0
        assert f"size: {size};" in page.read_text(encoding="utf-8")
    answer = run("job", "sheet", job, "-o", tmp_path / "x.html", "--paper", "a3")
    assert answer.code == 2
    assert "letter" in answer.err


def test_a_job_of_torn_pads_alone_has_its_map(run: Run, wren: Path, tmp_path: Path) -> None:
    job, page = tmp_path / "torn.job", tmp_path / "torn.html"
    run("job", "open", job, wren)
    run("job", "mark", job, "lifted", "R12.1")
    run("job", "mark", job, "wired", "R12.1", "R13.1")
    assert run("job", "sheet", job, "-o", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "The torn pads and wires at" in text
    assert "R12.1: lifted" in text
    assert "wire R12.1 to R13.1 mends R12.1" in text
