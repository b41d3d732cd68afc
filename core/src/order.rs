//! Sorting. The standard library's is made anew, and at length, for every type and comparison; here the work is done once,
//! on places in the list. A page that loads the engine is spared a tenth of it, and nothing that is sorted here is long.

use core::cmp::Ordering;

/// Sorts; equals keep their order.
pub(crate) fn sort_by<T>(values: &mut [T], mut compare: impl FnMut(&T, &T) -> Ordering) {
    let mut from = places(values.len(), &mut |a, b| compare(&values[a], &values[b]).is_gt());
    // Each cycle of the permutation is gone round once.
    for start in 0..values.len() {
        let mut at = start;
        loop {
            let next = core::mem::replace(&mut from[at], at);
            if next == start {
                break;
            }
            values.swap(at, next);
            at = next;
        }
    }
}

/// Sorts by a key; equals keep their order.
pub(crate) fn sort_by_key<T, K: Ord>(values: &mut [T], key: impl Fn(&T) -> K) {
    sort_by(values, |a, b| key(a).cmp(&key(b)));
}

/// Sorts numbers: short lists where they lie, for that is done along every move.
pub(crate) fn sort_numbers(values: &mut [f64]) {
    if values.len() > 32 {
        return sort_by(values, f64::total_cmp);
    }
    for end in 1..values.len() {
        for at in (1..=end).rev() {
            if values[at - 1].total_cmp(&values[at]).is_le() {
                break;
            }
            values.swap(at - 1, at);
        }
    }
}

/// The places of a list in the order of what stands there: runs of 1, 2, 4 and so on are merged.
#[inline(never)]
fn places(count: usize, is_after: &mut dyn FnMut(usize, usize) -> bool) -> Vec<usize> {
    let mut sorted: Vec<usize> = (0..count).collect();
    let mut merged = Vec::with_capacity(count);
    let mut run = 1;
    while run < count {
        merged.clear();
        for two in sorted.chunks(2 * run) {
            let (mut left, mut right) = two.split_at(run.min(two.len()));
            while let ([a, rest @ ..], [b, others @ ..]) = (left, right) {
                if is_after(*a, *b) {
                    merged.push(*b);
                    right = others;
                } else {
                    merged.push(*a);
                    left = rest;
                }
            }
            merged.extend_from_slice(left);
            merged.extend_from_slice(right);
        }
        core::mem::swap(&mut sorted, &mut merged);
        run *= 2;
    }
    sorted
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// As the standard library sorts, equals in their order.
        #[test]
        fn as_the_standard_library(keys in prop::collection::vec(0..20_u8, 0..200)) {
            let mut ours: Vec<(u8, usize)> = keys.iter().copied().zip(0..).collect();
            let mut theirs = ours.clone();
            sort_by(&mut ours, |a, b| a.0.cmp(&b.0));
            theirs.sort_by_key(|pair| pair.0);
            prop_assert_eq!(&ours, &theirs);
            sort_by_key(&mut ours, |pair| core::cmp::Reverse(pair.1));
            theirs.sort_by_key(|pair| core::cmp::Reverse(pair.1));
            prop_assert_eq!(ours, theirs);
        }

        #[test]
        fn numbers(mut ours in prop::collection::vec(-2.0..2.0_f64, 0..80)) {
            let mut theirs = ours.clone();
            sort_numbers(&mut ours);
            theirs.sort_by(f64::total_cmp);
            prop_assert_eq!(ours, theirs);
        }
    }
}
