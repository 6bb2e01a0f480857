"""What can be chosen in setup: our files of the folder, nothing else, nothing from elsewhere."""

from __future__ import annotations

from acquire.page.shelf import Shelf


def files_of(folder):
    """Those of the folder alone, of all kinds."""
    listed = [each for kind in ("sheet", "bench", "meter") for each in Shelf(folder).files(kind)]
    return [each for each in listed if each.file.startswith("folder/")]


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
    assert found[0].choice == ["folder/a.toml", "A"]


def test_links_that_lead_out_are_passed_over(tmp_path):
    inside, outside = tmp_path / "in", tmp_path / "secret.toml"
    inside.mkdir()
    outside.write_text("[sheet]\n", encoding="utf-8")
    (inside / "link.toml").symlink_to(outside)
    (inside / "loop.toml").symlink_to(inside / "loop.toml")
    assert files_of(inside) == []


def test_a_folder_that_is_gone_is_empty(tmp_path):
    assert files_of(tmp_path / "nothing") == []


def test_shipped_sheets_and_meters_are_there(tmp_path):
    there = Shelf(tmp_path)
    assert {"Plover 80 (example)", "Quern 12 (example)"} <= {words for _, words in there.choices("sheet")}
    assert "bench-6-digit" in {words for _, words in there.choices("meter")}


def test_a_file_beside_one_in_use_is_there_once(tmp_path):
    """Also where that folder is the bench file's own, or the shipped one."""
    (tmp_path / "a.toml").write_text('[sheet]\nname = "A"\n', encoding="utf-8")
    beside = [tmp_path / "a.toml", next(each.path for each in Shelf(tmp_path).files("meter"))]
    shelf = Shelf(tmp_path, lambda: beside)
    assert [each.file for each in shelf.files("sheet") if each.name == "A"] == ["folder/a.toml"]
    paths = [each.path.resolve() for each in shelf.files("meter")]
    assert len(paths) == len(set(paths))
