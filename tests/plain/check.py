"""Holds the plain module, as host.py hosts it, against the command: run by tests/plain.sh."""

import json
import math
import os
import random
import re
import struct
import subprocess
import time
import unittest

import numpy as np
import wasmtime

import host

MODULE, COMMAND, WORK = (os.environ[name] for name in ("PLAIN_MODULE", "PLAIN_COMMAND", "PLAIN_WORK"))
CARD, PART = "tests/example/bed.toml", "tests/example/part.gcode"
README = "wasm/plain/README.md"
HEAD = b"[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n"


def read(path):
    with open(path, "rb") as file:
        return file.read()


def write(name, content):
    path = os.path.join(WORK, name)
    with open(path, "wb") as file:
        file.write(content)
    return path


def command(*words):
    return subprocess.run([COMMAND, *words], capture_output=True, check=True).stdout


def refusal(*words):
    """The error that the command tells of as JSON."""
    done = subprocess.run([COMMAND, *words, "--json"], capture_output=True, check=False)
    assert done.returncode == 1, (words, done)
    return json.loads(done.stderr)["error"]


def rewritten(height_map, toolpath, sizes, options=None):
    """The bytes and the summary, in chunks of these sizes."""

    def chunks():
        at = 0
        while at < len(toolpath):
            size = next(sizes)
            yield toolpath[at : at + size]
            at += size

    out, walk = [], host.rewrite(height_map, chunks(), options)
    while True:
        try:
            out.append(next(walk))
        except StopIteration as end:
            return b"".join(out), end.value


def always(size):
    while True:
        yield size


class Module(unittest.TestCase):
    """What the module is, before anything is called."""

    def setUp(self):
        self.module = wasmtime.Module.from_file(wasmtime.Engine(), MODULE)

    def test_it_imports_nothing(self):
        self.assertEqual(list(self.module.imports), [])

    def test_it_needs_no_extension(self):
        """Of what came after the core specification 2.0, and of 2.0 its vectors."""
        config = wasmtime.Config()
        for extension in ("relaxed_simd", "simd", "threads", "tail_call", "memory64", "multi_memory", "exceptions", "gc", "function_references"):
            setattr(config, "wasm_" + extension, False)
        wasmtime.Module.from_file(wasmtime.Engine(config), MODULE)

    def test_it_exports_what_the_readme_has(self):
        """Each row: `evengap_name(one: u32, ...) -> u32`. All numbers are 32 bits wide."""
        promised = {}
        for name, taken in re.findall(r"^\| `(evengap_\w+)\((.*?)\) -> u32` \|", read(README).decode(), re.MULTILINE):
            promised[name] = len([one for one in taken.split(",") if one.strip()])
        exported = {}
        for export in self.module.exports:
            if isinstance(export.type, wasmtime.FuncType):
                kinds = [str(kind) for kind in [*export.type.params, *export.type.results]]
                self.assertEqual(set(kinds), {"i32"}, export.name)
                exported[export.name] = len(export.type.params)
        self.assertEqual(exported, promised)
        self.assertGreaterEqual(len(promised), 12)
        self.assertIn("memory", [export.name for export in self.module.exports])


class Beside(unittest.TestCase):
    """The module beside the command: the same heights, the same figures, the same bytes."""

    @classmethod
    def setUpClass(cls):
        cls.engine = host.Engine(MODULE)
        cls.part = read(PART)

    def test_heights_are_the_commands_to_the_bit(self):
        grid = np.stack(np.meshgrid(np.linspace(-7, 241, 60), np.linspace(-3, 238, 53)), axis=-1)
        grid[0, 0] = [20, 20]
        lines = "".join(f"{float(x)!r},{float(y)!r}\n" for x, y in grid.reshape(-1, 2))
        points = write("points.csv", lines.encode())
        for surface, number in (("thin-plate", host.THIN_PLATE), ("bilinear", host.BILINEAR)):
            out = command("map", CARD, "--surface", surface, "--at", points).decode().splitlines()[1:]
            theirs = np.array([float(line.split(",")[2]) for line in out])
            height_map = host.HeightMap(self.engine, read(CARD), number)
            ours = height_map.heights(grid)
            height_map.close()
            self.assertEqual(ours.shape, (53, 60))
            self.assertEqual(ours.tobytes(), theirs.tobytes(), surface)
            self.assertGreater(np.ptp(ours), 0.1)

    def test_a_map_is_described_as_the_command_does(self):
        for surface, number in (("thin-plate", host.THIN_PLATE), ("bilinear", host.BILINEAR), ("auto", host.BETTER)):
            height_map = host.HeightMap(self.engine, read(CARD), number)
            self.assertEqual(height_map.described(), json.loads(command("map", CARD, "--surface", surface, "--json")))

    def test_a_file_is_rewritten_as_the_command_does(self):
        height_map = host.HeightMap(self.engine, read(CARD))
        rng = random.Random(5)
        cases = [
            ([], None),
            (["--taper", "none", "--tolerance", "0.01", "--shift", "0.02"], {"taper": "none", "tolerance": 0.01, "shift": 0.02}),
            (["--taper", "0.4..3", "--flow", "off"], {"taper": {"range": {"from": 0.4, "to": 3}}, "flow": False}),
        ]
        for words, options in cases:
            path = os.path.join(WORK, "part.even.gcode")
            report = json.loads(command("rewrite", PART, "--card", CARD, "-o", path, "--json", *words))
            whole = read(path)
            self.assertNotEqual(whole, self.part)
            cuts = {size: always(size) for size in (3, 997, 65537, len(self.part))}
            cuts["any"] = iter(lambda: rng.choice([1, 2, 5, 64, 1023, 4099]), None)
            if not options:
                cuts[1] = always(1)
            for name, sizes in cuts.items():
                ours, summary = rewritten(height_map, self.part, sizes, options)
                self.assertTrue(ours == whole, f"{words}, in chunks of {name}")
                for key in ("moves_in", "moves_out", "lines_in", "lines_out", "marker"):
                    self.assertEqual(summary[key], report[key], key)

    def test_errors_are_the_commands(self):
        cards = {
            "an unknown key": HEAD + b"sheets = 2\n",
            "a number that is none": HEAD + b"points = [[1, 2, 0.1],\n  [3, nan, 0.2]]\n",
            "readings on a line": HEAD + b"points = [[1, 1, 0.1], [2, 2, 0.1], [3, 3, 0.1]]\n",
            "readings that contradict": HEAD + b"points = [[1, 1, 0.1], [9, 2, 0.1], [3, 9, 0.1],\n [1, 1, 0.9]]\n",
            "10 MB": b"# nothing\n" * 1_000_000,
        }
        for name, card in cards.items():
            told = refusal("map", write("card.toml", card))
            with self.assertRaises(host.Refused) as caught:
                host.HeightMap(self.engine, card)
            self.same(caught.exception, told, name)
        height_map = host.HeightMap(self.engine, read(CARD))
        toolpaths = {
            "another plane": b"G1 X60 Y60 Z0.2\nG18\n  G2 X70 Y60 I5\n",
            "a number with two points": b"G1 X60 Y60 Z0.2\nG1 X6.0.1\n",
            "below the floor": b"G1 X20 Y215 Z0.05\nG1 X21 Y215 E1\n",
        }
        for name, toolpath in toolpaths.items():
            path = write("refused.gcode", toolpath)
            told = refusal("rewrite", path, "--card", CARD, "-o", path + ".out")
            with self.assertRaises(host.Refused) as caught:
                rewritten(height_map, toolpath, always(7))
            self.same(caught.exception, told, name)

    def same(self, ours, told, name):
        self.assertEqual((ours.kind, str(ours)), (told["kind"], told["message"]), name)
        places = told["places"]
        self.assertEqual([(p["line"], p["column"]) for p in ours.places], [(p["line"], p["column"]) for p in places], name)
        if places:
            self.assertEqual((ours.line, ours.column), (places[0]["line"], places[0]["column"]), name)


class Hostile(unittest.TestCase):
    """Calls that no program should make: each is an error of its kind; none is a trap, and the instance goes on."""

    def setUp(self):
        self.engine = host.Engine(MODULE)
        self.map = host.HeightMap(self.engine, read(CARD)).handle
        self.size = self.engine.memory.data_len(self.engine.store)

    def tearDown(self):
        """The map is still there, and gives what it gave."""
        with self.engine.buffer(16, struct.pack("<2d", 117, 117)) as xy, self.engine.buffer(8) as out:
            self.engine.do("map_heights", self.map, xy, 1, out)
            self.assertAlmostEqual(self.engine.array(out, 1)[0], 0.17, delta=0.05)

    def refused(self, name, *numbers, kind="call"):
        with self.assertRaises(host.Refused, msg=(name, numbers)) as caught:
            self.engine.do(name, *numbers)
        self.assertEqual(caught.exception.kind, kind, (name, numbers))
        return caught.exception

    def test_handles(self):
        rewriter = self.engine.do("rewriter_open", self.map, 0, 0)
        with self.engine.buffer(16) as at:
            for handle in (0, 7, 0x7FFFFFFF, -1, -0x80000000, rewriter):
                self.refused("map_describe", handle)
                self.refused("map_heights", handle, at, 1, at)
                self.refused("map_close", handle)
                self.refused("rewriter_open", handle, 0, 0)
            for handle in (0, 7, 0x7FFFFFFF, -1, -0x80000000, self.map):
                self.refused("rewriter_push", handle, at, 1)
                self.refused("rewriter_finish", handle)
                self.refused("rewriter_summary", handle)
                self.refused("rewriter_close", handle)
        self.engine.do("rewriter_close", rewriter)
        self.refused("rewriter_close", rewriter)
        self.refused("rewriter_push", rewriter, 0, 0)

    def test_addresses_and_lengths(self):
        rewriter = self.engine.do("rewriter_open", self.map, 0, 0)
        freed = self.engine.do("allocate", 4096)
        self.engine.do("free", freed)
        self.refused("free", freed)
        with self.engine.buffer(64) as at, self.engine.buffer(64) as other:
            # Amid the module's own data, past the end of memory, one beside a buffer.
            for wrong in (0, 1, 1024, freed, at + 1, at - 8, self.size, self.size - 1, 0x7FFFFFF0, -1, -65536):
                self.refused("free", wrong)
                self.refused("map_open", wrong, 4, 0)
                self.refused("rewriter_open", self.map, wrong, 4)
                self.refused("rewriter_push", rewriter, wrong, 4)
                self.refused("map_heights", self.map, wrong, 1, other)
                self.refused("map_heights", self.map, at, 1, wrong)
            for long in (65, 0x10000, 0x7FFFFFFF, -1):
                self.refused("map_open", at, long, 0)
                self.refused("rewriter_open", self.map, at, long)
                self.refused("rewriter_push", rewriter, at, long)
                self.refused("map_heights", self.map, at, long, other)
            # 16 times this is 16 again, in 32 bits.
            self.refused("map_heights", self.map, at, 0x10000001, other)
            self.refused("map_heights", self.map, at, 1, at)
            for surface in (3, -1):
                self.refused("map_open", at, 1, surface)
        for bytes_ in (0, (1 << 28) + 1, 0x7FFFFFFF, -1):
            self.refused("allocate", bytes_)
        self.engine.do("rewriter_finish", rewriter)

    def test_pushing_after_the_end(self):
        with self.engine.buffer(64, b"G1 X60 Y60 Z0.2\nG18\nG2 X70 Y60 I5\n".ljust(64)) as at:
            for refused in (False, True):
                rewriter = self.engine.do("rewriter_open", self.map, 0, 0)
                self.refused("rewriter_summary", rewriter)
                if refused:
                    self.refused("rewriter_push", rewriter, at, 35, kind="refused")
                else:
                    self.engine.do("rewriter_push", rewriter, at, 16)
                    self.engine.do("rewriter_finish", rewriter)
                for _ in range(2):
                    self.refused("rewriter_push", rewriter, at, 16)
                    self.assertEqual(self.engine.result()[:1], b"{", "nothing is left but the error")
                    self.refused("rewriter_finish", rewriter)
                if refused:
                    self.refused("rewriter_summary", rewriter)
                else:
                    self.engine.do("rewriter_summary", rewriter)
                self.engine.do("rewriter_close", rewriter)

    def test_nothing_is_made_ready_by_a_failure(self):
        self.engine.do("map_describe", self.map)
        self.assertGreater(self.engine.ask("result_len"), 500)
        self.assertEqual(self.engine.ask("map_describe", 0), 0)
        self.assertEqual((self.engine.ask("result_len"), self.engine.ask("result_ptr")), (0, 0))

    def test_texts_that_are_none(self):
        rng = random.Random(3)
        texts = [b"", b"\0" * 100, b"\xff\xfe", b"a = " + b"[" * 100_000, b'{"bed":' * 100_000, HEAD + b"points = [" + b"[1, 2, 0.1]," * 100_000 + b"]"]
        texts += [rng.randbytes(rng.randrange(2000)) for _ in range(50)]
        for text in texts:
            with self.engine.buffer(len(text), text) as at:
                for name, numbers in (("map_open", (at, len(text), 0)), ("rewriter_open", (self.map, at, len(text)))):
                    if (name, text) != ("rewriter_open", b""):
                        with self.assertRaises(host.Refused) as caught:
                            self.engine.do(name, *numbers)
                        self.assertIn(caught.exception.kind, ("card", "limit", "readings", "options"))

    def test_any_calls(self):
        """Numbers that are mostly wrong, to every function: an answer, never a trap."""
        rng = random.Random(11)
        kept = [self.engine.do("allocate", 256) for _ in range(4)]
        functions = {
            name: export for name, export in self.engine.exports.items() if name.startswith("evengap_") and name != "evengap_map_close"
        }
        numbers = [0, 1, 2, 3, 4, 8, 16, 64, 255, 256, 257, 4096, self.size, 0x7FFFFFFF, -1, -8, self.map, *kept]
        answered = 0
        for _ in range(10_000):
            name = rng.choice(sorted(functions))
            count = len(functions[name].type(self.engine.store).params)
            taken = [rng.choice(numbers) for _ in range(count)]
            if name == "evengap_allocate":
                taken = [min(n, 4096) for n in taken]
            answer = functions[name](self.engine.store, *taken)
            answered += answer != 0
            if name == "evengap_allocate":
                self.assertEqual(answer % 8, 0)
        self.assertGreater(answered, 1000)


class Memory(unittest.TestCase):
    def test_a_thousand_rewritings_take_no_more(self):
        engine, part, card = host.Engine(MODULE), read(PART), read(CARD)
        sizes, began = [], time.process_time()
        for n in range(1000):
            height_map = host.HeightMap(engine, card)
            ours, _ = rewritten(height_map, part, always(65536))
            height_map.close()
            sizes.append(engine.memory.data_len(engine.store))
            if n == 0:
                first = ours
            elif n % 100 == 99:
                self.assertTrue(ours == first)
        seconds = time.process_time() - began
        self.assertEqual(sizes[-1], sizes[1])
        print(
            f"1000 maps and rewritings of {len(part) / 1e6:.2f} MB: {seconds:.1f} s of a processor; "
            f"memory {sizes[0] / 1e6:.2f} MB after the first, {sizes[-1] / 1e6:.2f} MB after the last"
        )

    def test_length_does_not_matter(self):
        """19 MB in moves of 0.4 mm, as tests/js/rate.js has them, and the whole example again and again."""
        ring = "".join(
            f"G1 X{117.5 + r * math.cos(a):.3f} Y{117.5 + r * math.sin(a):.3f} E{0.0133 * k:.5f}\n"
            for k in range(2500)
            for r in [50 + 30 * math.sin(0.0007 * k)]
            for a in [0.4 * k / r]
        )
        short = [b"M82\nG28\nG90\nG1 Z5 F3000\n", *(f"G1 Z{0.2 * layer:.3f} F9000\nG92 E0\n{ring}".encode() for layer in range(1, 251))]
        long = [read(PART)] * 60
        for name, chunks in (("short moves", short), ("the example 60 times", long)):
            engine = host.Engine(MODULE)
            height_map = host.HeightMap(engine, read(CARD))
            size, written, began, grown = sum(map(len, chunks)) / 1e6, 0, time.process_time(), []
            for out in host.rewrite(height_map, chunks):
                written += len(out)
                grown.append(engine.memory.data_len(engine.store))
            seconds = time.process_time() - began
            self.assertGreater(written, size * 1e6)
            self.assertEqual(grown[-1], grown[5])
            print(f"{name}, {size:.0f} MB: {size / seconds:.0f} MB a second of a processor; memory {grown[-1] / 1e6:.2f} MB")

    def test_no_room(self):
        engine = host.Engine(MODULE, most_memory=32 << 20)
        height_map = host.HeightMap(engine, read(CARD))
        with self.assertRaises(host.Refused) as caught:
            engine.do("allocate", 64 << 20)
        self.assertEqual(caught.exception.kind, "memory")
        self.assertEqual(height_map.heights([[117.0, 117.0]]).shape, (1,))
        # Within the engine no room is a trap; the instance says so from then on, and does no harm.
        with self.assertRaises(wasmtime.Trap):
            rewritten(height_map, read(PART) * 100, always(12 << 20))
        for name, numbers in (("map_describe", [height_map.handle]), ("allocate", [8]), ("error", []), ("result_len", [])):
            self.assertEqual(engine.ask(name, *numbers), 0, name)


if __name__ == "__main__":
    unittest.main(verbosity=2)
