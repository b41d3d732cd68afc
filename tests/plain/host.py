"""evengap from Python: a host of the plain WebAssembly module. wasm/plain/README.md says what each function takes.

usage: host.py MODULE CARD IN OUT    draws a grid of heights from the card, and rewrites the toolpath IN to OUT
"""

import json
import os
import sys
from contextlib import contextmanager

import numpy as np
import wasmtime

THIN_PLATE, BILINEAR, BETTER = 0, 1, 2


class Refused(Exception):
    """What the engine refuses, and where: lines and columns count from 1."""

    def __init__(self, message, kind, help=None, line=None, column=None, places=()):
        super().__init__(message)
        self.kind, self.help, self.line, self.column, self.places = kind, help, line, column, places


class Engine:
    """One instance of the module, for one thread."""

    def __init__(self, path, most_memory=None):
        engine = wasmtime.Engine()
        self.store = wasmtime.Store(engine)
        if most_memory:
            self.store.set_limits(memory_size=most_memory)
        # The list of imports is empty: the module can do nothing but calculate.
        instance = wasmtime.Instance(self.store, wasmtime.Module.from_file(engine, path), [])
        self.exports = instance.exports(self.store)
        self.memory = self.exports["memory"]
        assert self.ask("abi_version") == 1

    def ask(self, name, *numbers):
        """Calls a function; its answer is taken without a sign."""
        return self.exports["evengap_" + name](self.store, *numbers) & 0xFFFFFFFF

    def do(self, name, *numbers):
        """Calls a function that answers 0 when it fails."""
        answer = self.ask(name, *numbers)
        if answer == 0:
            if not self.ask("error"):
                raise Refused("a call was cut short before: the instance is of no use", "trap")
            raise Refused(**json.loads(self.result()))
        return answer

    def result(self):
        """A copy of what the last call made ready."""
        at, length = self.ask("result_ptr"), self.ask("result_len")
        return bytes(self.memory.read(self.store, at, at + length))

    @contextmanager
    def buffer(self, size, content=None):
        """The address of a buffer of the module's memory, given back at the end."""
        at = self.do("allocate", max(size, 1))
        try:
            if content is not None:
                self.memory.write(self.store, content, at)
            yield at
        finally:
            self.ask("free", at)

    def array(self, at, count):
        """A view of memory, good until the next call: memory may move when it grows."""
        return np.frombuffer(self.memory.get_buffer_ptr(self.store, 8 * count, at), "<f8") if count else np.empty(0)


class HeightMap:
    """h(x, y) of a card's bed, mm."""

    def __init__(self, engine, card, surface=THIN_PLATE):
        self.engine = engine
        with engine.buffer(len(card), card) as at:
            self.handle = engine.do("map_open", at, len(card), surface)

    def heights(self, points):
        """The heights, mm, at an array of x, y pairs of any shape."""
        points = np.ascontiguousarray(points, "<f8")
        count = points.size // 2
        with self.engine.buffer(16 * count) as xy, self.engine.buffer(8 * count) as out:
            self.engine.array(xy, 2 * count)[:] = points.ravel()
            self.engine.do("map_heights", self.handle, xy, count, out)
            return self.engine.array(out, count).copy().reshape(points.shape[:-1])

    def described(self):
        self.engine.do("map_describe", self.handle)
        return json.loads(self.engine.result())

    def close(self):
        self.engine.do("map_close", self.handle)


def rewrite(height_map, chunks, options=None):
    """Rewrites one toolpath, given and taken by chunks; returns the summary. After an error what came out is of no use."""
    engine = height_map.engine
    text = json.dumps(options or {}).encode()
    with engine.buffer(len(text), text) as at:
        rewriter = engine.do("rewriter_open", height_map.handle, at, len(text))
    try:
        for chunk in chunks:
            with engine.buffer(len(chunk), chunk) as at:
                engine.do("rewriter_push", rewriter, at, len(chunk))
            yield engine.result()
        engine.do("rewriter_finish", rewriter)
        yield engine.result()
        engine.do("rewriter_summary", rewriter)
        return json.loads(engine.result())
    finally:
        engine.ask("rewriter_close", rewriter)


def main(module, card, source, target):
    with open(card, "rb") as file:
        height_map = HeightMap(Engine(module), file.read())
    x0, y0, x1, y1 = height_map.described()["measured"]
    x, y = np.meshgrid(np.linspace(x0, x1, 60), np.linspace(y0, y1, 25))
    heights = height_map.heights(np.stack([x, y], axis=-1))
    print(f"The bed, from {heights.min():+.3f} to {heights.max():+.3f} mm, back edge first:")
    shades = np.array(list(" .:-=+*#%@"))
    for row in shades[((heights - heights.min()) / max(np.ptp(heights), 1e-9) * 9.999).astype(int)][::-1]:
        print("".join(row))

    # Whole or not at all: the target gets its name when all is written.
    def copy():
        with open(source, "rb") as file, open(target + ".part", "wb") as out:
            written = rewrite(height_map, iter(lambda: file.read(65536), b""))
            while True:
                try:
                    out.write(next(written))
                except StopIteration as end:
                    out.flush()
                    os.fsync(out.fileno())
                    return end.value

    try:
        summary = copy()
        os.replace(target + ".part", target)
        print(f"{summary['moves_in']} moves in, {summary['moves_out']} out")
    except Refused as refused:
        os.remove(target + ".part")
        where = f"{source}:{refused.line}:{refused.column}: " if refused.line else ""
        sys.exit(f"{where}{refused}" + (f"\n{refused.help}" if refused.help else ""))


if __name__ == "__main__":
    if len(sys.argv) != 5:
        sys.exit(__doc__)
    main(*sys.argv[1:])
