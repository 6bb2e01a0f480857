"""What can be chosen in setup: our files of the folder, nothing else, nothing from elsewhere."""

from __future__ import annotations

from acquire.page.shelf import files_of, shipped_files


def test_files_are_known_by_what_they_hold(tmp_path):
    for name, text in (
        ("a.toml", '[sheet]\nname = "A"\nabout = "one"\n'),
        ("b.toml", '[bench]\nname = "left"\n[meter]\ndriver = "scpi"\n'),
        ("c.toml", 'name = "C"\n[[range]]\nquantity = "resistance"\n'),
        ("d.toml", "[other]\n"),
        ("e.toml", "no toml ["),
        ("f.txt", "[sheet]\n"),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "g.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "h.toml").mkdir()
    found = files_of(tmp_path)
    assert [(each.file, each.kind, each.name) for each in found] == [
        ("folder/a.toml", "sheet", "A"),
        ("folder/b.toml", "bench", "left"),
        ("folder/c.toml", "meter", "C"),
    ]
    assert found[0].plain() == {"file": "folder/a.toml", "name": "A", "about": "one", "source": "folder"}


def test_links_that_lead_out_are_passed_over(tmp_path):
    inside, outside = tmp_path / "in", tmp_path / "secret.toml"
    inside.mkdir()
    outside.write_text("[sheet]\n", encoding="utf-8")
    (inside / "link.toml").symlink_to(outside)
    (inside / "loop.toml").symlink_to(inside / "loop.toml")
    assert files_of(inside) == []


def test_a_folder_that_is_gone_is_empty(tmp_path):
    assert files_of(tmp_path / "nothing") == []


def test_shipped_sheets_and_meters_are_there():
    names = {each.name for each in shipped_files()}
    assert {"Plover 80", "Quern 12", "bench-6-digit"} <= names
