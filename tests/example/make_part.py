#!/usr/bin/env python3
"""Writes the example part: a tray for a workshop drawer, 180 x 130 x 7.2 mm, with three compartments.

usage: python3 make_part.py > part.gcode

Stands in for a slicing program, so that the example is ours and small. Lengths in mm. Millimetres, absolute places,
relative E (M83); rounded corners are arcs; every jump over a wall is a retraction, a hop and a travel.
"""
from math import hypot, pi

X0, Y0, X1, Y1, RADIUS = 27.5, 52.5, 207.5, 182.5, 8.0     # the tray's outline and its corners
LAYER, LINE, FILAMENT = 0.2, 0.45, 1.75
LAYERS, FLOOR_LAYERS, BRIM_LOOPS = 36, 3, 4
DIVIDERS = (88.0, 148.0)                                    # x of the two inner walls
PRINT, FIRST, TRAVEL = 2400, 1200, 9000                     # mm/min
PULL, HOP = 0.8, 0.4
PER_MM = LAYER * LINE / (pi * FILAMENT * FILAMENT / 4)      # filament for a millimetre of line

out = []
at = [None, None]


def say(line):
    out.append(line)


def number(value, decimals):
    text = f'{value:.{decimals}f}'.rstrip('0').rstrip('.')
    return '0' if text in ('-0', '') else text


def travel(x, y, z):
    """Pull back, hop, go there, come down, push out again."""
    say(f'G1 E-{PULL} F2100')
    say(f'G0 Z{number(z + HOP, 3)} F600')
    say(f'G0 X{number(x, 3)} Y{number(y, 3)} F{TRAVEL}')
    say(f'G0 Z{number(z, 3)} F600')
    say(f'G1 E{PULL} F2100')
    at[:] = [x, y]


def line(x, y, feed=None):
    length = hypot(x - at[0], y - at[1])
    if length < 1e-6:
        return
    place = ''.join(f' {a}{number(v, 3)}' for a, v, old in (('X', x, at[0]), ('Y', y, at[1])) if v != old)
    say(f'G1{place} E{number(length * PER_MM, 5)}' + (f' F{feed}' if feed else ''))
    at[:] = [x, y]


def corner(x, y, cx, cy, radius):
    """A quarter turn anticlockwise to x, y around cx, cy."""
    e = number(radius * pi / 2 * PER_MM, 5)
    say(f'G3 X{number(x, 3)} Y{number(y, 3)} I{number(cx - at[0], 3)} J{number(cy - at[1], 3)} E{e}')
    at[:] = [x, y]


def loop(inset, z, feed):
    """Once round, anticlockwise, `inset` inside the outline (outside it, if negative)."""
    x0, y0, x1, y1, r = X0 + inset, Y0 + inset, X1 - inset, Y1 - inset, RADIUS - inset
    travel(x0 + r, y0, z)
    line(x1 - r, y0, feed)
    corner(x1, y0 + r, x1 - r, y0 + r, r)
    line(x1, y1 - r)
    corner(x1 - r, y1, x1 - r, y1 - r, r)
    line(x0 + r, y1)
    corner(x0, y1 - r, x0 + r, y1 - r, r)
    line(x0, y0 + r)
    corner(x0 + r, y0, x0 + r, y0 + r, r)


def chord(c, sign, inset):
    """The ends of the diagonal y = sign * x + c inside the outline, or nothing."""
    x0, y0, x1, y1, cut = X0 + inset, Y0 + inset, X1 - inset, Y1 - inset, RADIUS * 0.6
    low, high = x0, x1
    for bound, keep_above in ((y0, True), (y1, False)):
        x = (bound - c) * sign
        if keep_above == (sign > 0):
            low = max(low, x)
        else:
            high = min(high, x)
    # The corners are cut off, well inside their arcs: the diagonals that would cross the cut end at it.
    across = [(x0 + y0 + cut, 1, 1), (-(x1 + y1 - cut), -1, -1), (x0 - y1 + cut, 1, -1), (-(x1 - y0 - cut), -1, 1)]
    for least, a, b in across:                              # a x + b y >= least
        slope, rest = a + b * sign, least - b * c
        if slope > 0:
            low = max(low, rest / slope)
        elif slope < 0:
            high = min(high, rest / slope)
        elif rest > 0:
            return None
    return (low, high) if high - low > 1.0 else None


def fill(z, sign, feed):
    """The floor: diagonals to and fro, a line's width apart."""
    inset, step = 1.5 * LINE, LINE * 2 ** 0.5
    c = (Y0 - X1 if sign > 0 else X0 + Y0) + step
    end = Y1 - X0 if sign > 0 else X1 + Y1
    forth = True
    begun = False
    while c < end:
        ends = chord(c, sign, inset)
        if ends:
            a, b = ends if forth else ends[::-1]
            if begun:
                line(a, sign * a + c)
            else:
                travel(a, sign * a + c, z)
                begun = True
            line(b, sign * b + c, feed)
            feed = None
            forth = not forth
        c += step


def divider(x, z, feed):
    y0, y1 = Y0 + 1.5 * LINE, Y1 - 1.5 * LINE
    travel(x - LINE / 2, y0, z)
    line(x - LINE / 2, y1, feed)
    line(x + LINE / 2, y1)
    line(x + LINE / 2, y0)


say('; a tray for a workshop drawer, 180 x 130 x 7.2 mm: drills, taps, countersinks')
say('; written by make_part.py, which stands in for a slicing program')
for command in ('M140 S60', 'M104 S205', 'M190 S60 ; the bed first, it is slow', 'M109 S205', 'G21', 'G90', 'M83', 'G28',
                'M107', 'G0 Z5 F600', f'G0 X25 Y24 F{TRAVEL}', 'G0 Z0.2 F600'):
    say(command)
at[:] = [25.0, 24.0]
say('; a line along the front to get the filament flowing')
line(205.0, 24.0, 900)
line(205.0, 24.5)
line(25.0, 24.5)
for layer in range(LAYERS):
    z = round((layer + 1) * LAYER, 3)
    feed = FIRST if layer == 0 else PRINT
    say(f'; ---- layer {layer + 1} of {LAYERS}, {z} mm')
    if layer == 1:
        say('M106 S170')
    if layer == 0:
        for n in range(BRIM_LOOPS, 0, -1):
            loop(-n * LINE + LINE / 2, z, feed)
    loop(1.5 * LINE if layer >= FLOOR_LAYERS else LINE / 2, z, feed)
    if layer < FLOOR_LAYERS:
        fill(z, 1 if layer % 2 == 0 else -1, feed)
    else:
        for x in DIVIDERS:
            divider(x, z, feed)
        loop(LINE / 2, z, feed)
say('; ---- done')
for command in (f'G1 E-{PULL} F2100', 'G91', 'G0 Z10 F600', 'G90', f'G0 X10 Y220 F{TRAVEL}', 'M104 S0', 'M140 S0', 'M107', 'M84'):
    say(command)
print('\n'.join(out))
