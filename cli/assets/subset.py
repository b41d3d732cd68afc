#!/usr/bin/env python3
"""Cuts a font down to what the plan needs: subset.py IN.ttf OUT.ttf STYLE WEIGHT, with fonttools 4.

plan-regular.ttf:  OpenSans-Regular.ttf (version 1.11), Regular, 400
plan-semibold.ttf: OpenSans-Semibold.ttf (version 1.11), Semibold, 600
"""
import sys
from fontTools import subset
from fontTools.ttLib import TTFont

source, target, style, weight = sys.argv[1:]
letters = list(range(0x20, 0x7F)) + list(range(0xA0, 0x180)) + list(range(0x384, 0x3CF)) + list(range(0x400, 0x460))
signs = [0x490, 0x491, 0x2013, 0x2014, 0x2018, 0x2019, 0x201C, 0x201D, 0x201E, 0x2026, 0x2030, 0x2032, 0x2033]
signs += [0x2116, 0x2212, 0x2248, 0x2264, 0x2265]

font = TTFont(source)
options = subset.Options()
options.hinting = False
options.glyph_names = False
options.notdef_outline = True
options.layout_features = []
options.drop_tables += ['DSIG', 'GSUB', 'GPOS', 'GDEF', 'kern']
options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14, 16, 17]
cutter = subset.Subsetter(options)
cutter.populate(unicodes=letters + signs)
cutter.subset(font)

family = 'Evengap Plan'
names = font['name']
names.names = [r for r in names.names if r.nameID in (0, 13, 14)]
for number, value in (
    (1, family),
    (2, 'Regular'),
    (3, f'{family} {style}'),
    (4, f'{family} {style}'),
    (6, f'EvengapPlan-{style}'),
    (16, family),
    (17, style),
):
    names.setName(value, number, 3, 1, 0x409)
font['OS/2'].usWeightClass = int(weight)
font.save(target)
