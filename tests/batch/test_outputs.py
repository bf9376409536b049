"""Both outputs old or both new. Atomic rename: POSIX rename(2)."""

from __future__ import annotations

import multiprocessing
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from audit.batch.atomic import write_bytes
from audit.batch.outputs import only_run, replace_outputs, settle
from audit.errors import ResourceError


def put(out: Path, text: str) -> None:
    replace_outputs(out, [("a.json", [text]), ("a.html", [text, text])])


def both(out: Path) -> tuple[str, str]:
    return (out / "a.json").read_text(), (out / "a.html").read_text()


def test_replaces_both_and_leaves_no_litter(tmp_path: Path) -> None:
    put(tmp_path, "1")
    put(tmp_path, "2")
    assert both(tmp_path) == ("2", "22")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.html", "a.json"]


def test_error_while_writing_leaves_the_old(tmp_path: Path) -> None:
    put(tmp_path, "1")

    def breaks() -> Iterator[str]:
        yield "2"
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        replace_outputs(tmp_path, [("a.json", ["2"]), ("a.html", breaks())])
    assert both(tmp_path) == ("1", "11")
    put(tmp_path, "3")
    assert both(tmp_path) == ("3", "33")


@pytest.mark.parametrize("moves_done", [0, 1, 2])
def test_cut_short_after_the_deciding_step_is_finished_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moves_done: int
) -> None:
    put(tmp_path, "1")
    real = Path.replace
    done: list[Path] = []

    def cut(self: Path, target: Path) -> Path:
        if self.parent.name == ".ready":
            if len(done) == moves_done:
                raise KeyboardInterrupt
            done.append(self)
        return real(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", cut)
        try:
            put(tmp_path, "2")
        except KeyboardInterrupt:
            assert moves_done < 2
    settle(tmp_path)
    assert both(tmp_path) == ("2", "22")


def test_second_run_is_kept_off(tmp_path: Path) -> None:
    with only_run(tmp_path / "out"), multiprocessing.get_context("spawn").Pool(1) as pool:
        assert pool.apply(_is_kept_off, (tmp_path / "out",))
    with only_run(tmp_path / "out"):
        pass


def _is_kept_off(out: Path) -> bool:
    try:
        with only_run(out):
            return False
    except ResourceError as error:
        return "another run" in error.one_line()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
@pytest.mark.parametrize("linked", [False, True])
def test_what_is_no_regular_file_is_left_as_it_is(tmp_path: Path, linked: bool) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    out = pipe
    if linked:
        out = tmp_path / "link"
        out.symlink_to(pipe)
    with pytest.raises(OSError, match="no regular file"):
        write_bytes(out, b"x")
    assert stat.S_ISFIFO(pipe.stat().st_mode) and out.is_symlink() == linked
    assert not list(tmp_path.glob("*.part")) and not list(tmp_path.glob(".*"))
