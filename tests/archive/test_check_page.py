"""The page that compares hashes in a browser, run by a script engine where there is one."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from prepcheck.archive.keys import fingerprint
from prepcheck.archive.seal import check_page
from tests.archive import sealed as s

NODE = shutil.which("node")
needs_node = pytest.mark.skipif(NODE is None, reason="no script engine")

RUN = """
const fs = require("fs"), path = require("path");
class File {
  constructor(data) { this.data = data; this.size = data.length; }
  slice(from, to) { const part = this.data.subarray(from, to); return { arrayBuffer: async () => Uint8Array.from(part).buffer }; }
}
function walk(folder, files, name) {
  for (const entry of fs.readdirSync(folder, { withFileTypes: true })) {
    const inside = path.join(folder, entry.name);
    if (entry.isDirectory()) walk(inside, files, `${name}/${entry.name}`);
    else files.set(`${name}/${entry.name}`, new File(fs.readFileSync(inside)));
  }
  return files;
}
const say = thing => console.log(JSON.stringify(thing));
"""


def run(script: str):
    """Run the page's own functions and return what the script says."""
    core = re.search(r'<script id="core">(.*?)</script>', check_page().decode(), re.S)
    assert core is not None
    done = subprocess.run([str(NODE), "-"], input=core[1] + RUN + script, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def checked(bag: Path):
    return run(f"checkBag(walk({json.dumps(str(bag))}, new Map(), 'bag')).then(say);")


def test_the_page_loads_nothing_from_elsewhere():
    page = check_page().decode()
    assert "default-src 'none'" in page
    assert not re.search(r"\b(?:src|href)\s*=|https?://|fetch\(|XMLHttpRequest|import\(", page)


def test_the_page_gives_no_verdict():
    assert not re.search(r"\b(?:valid|safe|pass|passed|fail|failed|ok)\b", check_page().decode(), re.I)


@needs_node
def test_its_hash_is_sha256_at_every_length_around_a_block():
    lengths = [*range(131), 1000]
    script = f"say({lengths}.map(n => new Sha256().update(new Uint8Array(n).fill(97)).hex()));"
    assert run(script) == [hashlib.sha256(b"a" * n).hexdigest() for n in lengths]


@needs_node
def test_its_hash_does_not_depend_on_how_a_file_is_cut():
    script = "const h = new Sha256(); for (const n of [1, 62, 3, 64, 128, 7]) h.update(new Uint8Array(n).fill(97)); say(h.hex());"
    assert run(script) == hashlib.sha256(b"a" * 265).hexdigest()


@needs_node
def test_its_number_of_a_key_is_ours():
    assert run(f'say(fingerprint("{"ab" * 32}"));') == fingerprint("ab" * 32)


@pytest.fixture
def bag(tmp_path) -> Path:
    return s.opened(s.sealed(tmp_path / "bag").path)


@needs_node
def test_it_finds_no_fault_in_a_whole_bag(bag):
    found = checked(bag)
    assert found["faults"] == []
    assert found["head"]["job"] == "J-0001"
    assert found["signature"] in (True, None)


@needs_node
def test_it_tells_each_kind_of_fault(bag):
    (bag / "data/log.json").write_text("{}")
    (bag / "data/keys.json").rename(bag / "data/schlüssel.json")
    (bag / "note%.txt").write_text("more")
    assert sorted(checked(bag)["faults"]) == [
        "data/keys.json: is missing",
        "data/log.json: was changed",
        "data/schlüssel.json: was added, no list names it",
        "note%.txt: was added, no list names it",
    ]


@needs_node
def test_new_lists_do_not_fit_the_head_that_was_signed(bag):
    (bag / "data/log.json").write_text("{}")
    s.listed_anew(bag)
    found = checked(bag)
    assert "manifest-sha256.txt: is not the one that was signed" in found["faults"]
    assert found["signature"] in (False, None)


@needs_node
def test_another_folder_is_no_bag(tmp_path):
    (tmp_path / "a").write_text("x")
    assert "no bagit.txt" in checked(tmp_path)["faults"][0]
