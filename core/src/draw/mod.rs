//! Plans of the bed as SVG. (skeleton)
