//! Words for the bed: lowest, highest, tilt, twist, bow, the readings that stand out. (skeleton)
