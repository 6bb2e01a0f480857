"""Commands that install and remove what starts without a terminal."""

import shutil

import pytest
from typer.testing import CliRunner

from acquire.cli import app
from tests.whole_bench import bench_file


@pytest.fixture
def home(tmp_path, monkeypatch):
    """Of a user who has nothing yet."""
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


def said(*words, code=0):
    """What a command says."""
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == code, done.output
    return done.output


def test_the_entry_in_the_menu_opens_the_setup_page_and_goes_again(home):
    assert "steadyohm.desktop" in said("install-shortcut")
    entry = (home / ".local/share/applications/steadyohm.desktop").read_text(encoding="utf-8")
    assert '"setup" "--browser" "--folder"' in entry
    assert (home / "steadyohm").is_dir()
    assert said("remove-shortcut") == "Removed.\n"
    assert "nothing" in said("remove-shortcut")


def test_two_benches_start_at_log_in_and_one_no_longer(home):
    """Each by its own file, though they have the same name."""
    files = []
    for name in ("left", "right"):
        (home / name).mkdir()
        files.append(bench_file(home / name, meter="tcp:127.0.0.1:9"))
        said("install-at-login", files[-1])
    units = home / ".config/systemd/user"
    assert len(list(units.glob("*.service"))) == 2
    shutil.rmtree(home / "left")  # a bench that is gone can be removed all the same
    assert said("remove-at-login", files[0]) == "Removed.\n"
    (left,) = units.glob("*.service")
    assert str(files[1]) in left.read_text(encoding="utf-8")
    assert [str(each.readlink()) for each in (units / "default.target.wants").iterdir()] == [str(left)]


def test_a_bench_that_cannot_be_used_is_refused_now(home):
    (home / "bench.toml").write_text("[bench]\n", encoding="utf-8")
    assert isinstance(
        CliRunner().invoke(app, ["install-at-login", str(home / "bench.toml")]).exception, Exception
    )
    assert not (home / ".config").exists()
