//! The way of one move told beforehand: how the bed lies along it, and by how much it would scale E. That hangs on the way and on nothing else, so that
//! it can be told while another thread still follows what is before it. (In WebAssembly, where there is one, nothing is.)

use super::bed::{Bed, Way};
use super::path::Path;
use super::split::Vertex;

/// A longer move is not looked at beforehand, mm: it is rare, or a guess that went wrong.
const LONG: f64 = 1000.0;

/// What was told of a way, if anything was.
#[derive(Debug, Default)]
pub(crate) struct Survey {
    way: Option<Way>,
    flow: Option<f64>,
    samples: Vec<Vertex>,
}

impl Survey {
    /// Tells of a way; of a move that pushes filament also the flow.
    pub(super) fn tell(&mut self, way: Way, pushes: bool, bed: &mut Bed) {
        self.forget();
        if way.path.length() > LONG {
            return;
        }
        self.flow = pushes.then(|| bed.flow(&way));
        // Of one that cannot be looked at the error is told when it is followed.
        if bed.look_along(&way, &mut self.samples).is_err() {
            self.samples.clear();
        }
        self.way = Some(way);
    }

    /// Nothing is told any more.
    pub(super) fn forget(&mut self) {
        (self.way, self.flow) = (None, None);
        self.samples.clear();
    }

    /// The offsets along this way from its start on, but for its end.
    #[inline]
    pub(super) fn samples(&self, way: &Way) -> Option<&[Vertex]> {
        (!cfg!(target_family = "wasm") && !self.samples.is_empty() && self.is_of(way)).then_some(&self.samples)
    }

    /// How many offsets were looked up.
    pub(super) fn size(&self) -> usize {
        self.samples.len()
    }

    /// By what E is to be multiplied along this way.
    #[inline]
    pub(super) fn flow(&self, way: &Way) -> Option<f64> {
        self.flow.filter(|_| !cfg!(target_family = "wasm") && self.is_of(way))
    }

    /// To the last bit.
    #[inline]
    fn is_of(&self, way: &Way) -> bool {
        self.way.is_some_and(|own| numbers(&own).map(f64::to_bits) == numbers(way).map(f64::to_bits))
    }
}

/// All that a way is told by.
#[inline]
fn numbers(way: &Way) -> [f64; 13] {
    let [z0, z1] = way.z;
    match way.path {
        Path::Straight { from: [a, b], to: [c, d], .. } => {
            [a, b, c, d, z0, z1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, f64::INFINITY]
        }
        Path::Arc { centre: [u, v], radii: [r, s], start, sweep, from: [a, b], to: [c, d], .. } => {
            [a, b, c, d, z0, z1, u, v, r, s, start, sweep, 0.0]
        }
    }
}
