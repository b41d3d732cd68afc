//! The order in which points are visited: little travel, and the same order every time.

/// Most points for which the shortest way is found exactly (Held and Karp 1962, "A dynamic programming approach to sequencing
/// problems").
const EXACT: usize = 11;
/// Most points that are compared each with each; beyond it only neighbours on the way are.
const THOROUGH: usize = 400;
/// How far along the way exchanges reach beyond [`THOROUGH`] points.
const WINDOW: usize = 40;
/// Passes over the way, at the most, up to [`THOROUGH`] points and beyond. Each pass only shortens it, so stopping early does no harm.
const PASSES: [usize; 2] = [60, 2];
/// Coordinates beyond this, mm, are not reckoned with: their distances would overflow.
const FARTHEST: f64 = 1e9;
/// A way must be shorter by this much, mm, to be taken instead: of equals the first found is kept, so rounding decides nothing.
const GAIN: f64 = 1e-6;

/// The order in which to visit `points` (mm), from `start`, as indices: an open way, not back to the start.
///
/// Up to 11 points it is the shortest way there is. Beyond, it is the best of going row by row and column by column, back and forth,
/// and of the nearest neighbour next, each improved by turning pieces of the way round (2-opt: Croes 1958, "A method for solving
/// traveling-salesman problems") and moving short pieces elsewhere (Or 1976) until nothing more is won. It is never longer than
/// going back and forth by rows or by columns; of equals, that is what is given. The same points give the same order.
/// Points that are not finite, or 10^9 mm away or more, come last, as they stand.
#[must_use]
pub fn visiting_order(points: &[[f64; 2]], start: [f64; 2]) -> Vec<usize> {
    let usable = |p: &[f64; 2]| p.iter().all(|v| v.abs() < FARTHEST);
    let start = if usable(&start) { start } else { [0.0, 0.0] };
    let (good, odd): (Vec<usize>, Vec<usize>) = (0..points.len()).partition(|&i| points.get(i).is_some_and(usable));
    let places: Vec<[f64; 2]> = good.iter().filter_map(|&i| points.get(i).copied()).collect();
    let way = Way { at: &places, start };
    let mut best = way.best();
    best = best.into_iter().filter_map(|i| good.get(i).copied()).collect();
    best.extend(odd);
    best
}

/// The way's length, mm: from `start` to the first point, and on from point to point.
#[must_use]
pub fn travel_length(points: &[[f64; 2]], order: &[usize], start: [f64; 2]) -> f64 {
    let mut from = start;
    let mut sum = 0.0;
    for p in order.iter().filter_map(|&i| points.get(i)) {
        sum += distance(from, *p);
        from = *p;
    }
    sum
}

fn distance(p: [f64; 2], q: [f64; 2]) -> f64 {
    libm::hypot(p[0] - q[0], p[1] - q[1])
}

struct Way<'a> {
    at: &'a [[f64; 2]],
    start: [f64; 2],
}

impl Way<'_> {
    fn best(&self) -> Vec<usize> {
        let mut best = self.shortest(self.back_and_forth());
        if self.at.len() <= EXACT {
            return self.shortest([best, self.exact()]);
        }
        let mut others = vec![self.improved(best.clone())];
        if self.at.len() <= THOROUGH {
            others.push(self.improved(self.nearest_next()));
        }
        for other in others {
            best = self.shortest([best, other]);
        }
        best
    }

    /// The first of the shortest.
    fn shortest(&self, ways: impl IntoIterator<Item = Vec<usize>>) -> Vec<usize> {
        let mut best: Option<(f64, Vec<usize>)> = None;
        for way in ways {
            let length = travel_length(self.at, &way, self.start);
            if best.as_ref().is_none_or(|(shortest, _)| length < shortest - GAIN) {
                best = Some((length, way));
            }
        }
        best.map_or_else(Vec::new, |(_, way)| way)
    }

    /// By rows and by columns, from each of the four corners.
    fn back_and_forth(&self) -> Vec<Vec<usize>> {
        let mut ways = Vec::new();
        for (across, along) in [(1, 0), (0, 1)] {
            let rows = self.rows(across);
            for far_first in [false, true] {
                for backwards_first in [false, true] {
                    let mut way = Vec::with_capacity(self.at.len());
                    let mut backwards = backwards_first;
                    for k in 0..rows.len() {
                        let mut row = rows[if far_first { rows.len() - 1 - k } else { k }].clone();
                        crate::order::sort_by(&mut row, |&a, &b| {
                            self.at[a][along].total_cmp(&self.at[b][along]).then(a.cmp(&b))
                        });
                        if backwards {
                            row.reverse();
                        }
                        backwards = !backwards;
                        way.extend(row);
                    }
                    ways.push(way);
                }
            }
        }
        ways
    }

    /// Groups of points that are nearly alike in a coordinate; where hardly any are, strips of equal width.
    fn rows(&self, k: usize) -> Vec<Vec<usize>> {
        let n = self.at.len();
        let mut all: Vec<usize> = (0..n).collect();
        crate::order::sort_by(&mut all, |&a, &b| self.at[a][k].total_cmp(&self.at[b][k]).then(a.cmp(&b)));
        let (Some(&first), Some(&last)) = (all.first(), all.last()) else { return Vec::new() };
        let (low, extent) = (self.at[first][k], self.at[last][k] - self.at[first][k]);
        let group = |width: f64| {
            let mut rows: Vec<Vec<usize>> = Vec::new();
            for &i in &all {
                match rows.last_mut() {
                    Some(row) if self.at[i][k] - self.at[row[0]][k] <= width => row.push(i),
                    _ => rows.push(vec![i]),
                }
            }
            rows
        };
        let alike = group(0.005 * extent);
        if alike.len() * 2 <= n.max(4) {
            return alike;
        }
        let strips = (crate::surface::places::count(n) / 2.0).sqrt().ceil().max(1.0);
        let width = extent / strips;
        let mut rows: Vec<Vec<usize>> = Vec::new();
        let mut filled = -1.0;
        for &i in &all {
            let strip = if width > 0.0 { ((self.at[i][k] - low) / width).floor().min(strips - 1.0) } else { 0.0 };
            match rows.last_mut() {
                Some(row) if strip <= filled => row.push(i),
                _ => rows.push(vec![i]),
            }
            filled = strip.max(filled);
        }
        rows
    }

    fn nearest_next(&self) -> Vec<usize> {
        let mut left: Vec<usize> = (0..self.at.len()).collect();
        let mut way = Vec::with_capacity(left.len());
        let mut from = self.start;
        while !left.is_empty() {
            let mut next = (0, f64::INFINITY);
            for (slot, &i) in left.iter().enumerate() {
                let d = distance(from, self.at[i]);
                if d < next.1 - GAIN {
                    next = (slot, d);
                }
            }
            // In order, so that of equals the first listed is taken.
            let i = left.remove(next.0);
            from = self.at[i];
            way.push(i);
        }
        way
    }

    /// 2-opt and moving short pieces, until nothing is won.
    fn improved(&self, mut way: Vec<usize>) -> Vec<usize> {
        let (window, passes) = if way.len() <= THOROUGH { (way.len(), PASSES[0]) } else { (WINDOW, PASSES[1]) };
        for _ in 0..passes {
            let turned = self.turn_pieces(&mut way, window);
            let moved = self.move_pieces(&mut way, window);
            if !(turned || moved) {
                break;
            }
        }
        way
    }

    /// The place before position `i` of the way.
    fn before(&self, way: &[usize], i: usize) -> [f64; 2] {
        i.checked_sub(1).and_then(|i| way.get(i)).map_or(self.start, |&k| self.at[k])
    }

    /// From `p` to position `i`; nothing where the way ends before it.
    fn to(&self, way: &[usize], p: [f64; 2], i: usize) -> f64 {
        way.get(i).map_or(0.0, |&k| distance(p, self.at[k]))
    }

    fn turn_pieces(&self, way: &mut [usize], window: usize) -> bool {
        let mut won = false;
        for i in 0..way.len() {
            for j in i + 1..way.len().min(i + 1 + window) {
                let before = self.before(way, i);
                let (first, last) = (self.at[way[i]], self.at[way[j]]);
                let was = distance(before, first) + self.to(way, last, j + 1);
                let now = distance(before, last) + self.to(way, first, j + 1);
                if now < was - GAIN {
                    way[i..=j].reverse();
                    won = true;
                }
            }
        }
        won
    }

    /// Moves pieces of one to three points to another place on the way, either way round.
    fn move_pieces(&self, way: &mut Vec<usize>, window: usize) -> bool {
        let mut won = false;
        for length in 1..=3 {
            let mut i = 0;
            while i + length <= way.len() {
                if self.move_piece(way, i, length, window) {
                    won = true;
                }
                i += 1;
            }
        }
        won
    }

    fn move_piece(&self, way: &mut Vec<usize>, i: usize, length: usize, window: usize) -> bool {
        let (first, last) = (self.at[way[i]], self.at[way[i + length - 1]]);
        let before = self.before(way, i);
        let freed = distance(before, first) + self.to(way, last, i + length) - self.to(way, before, i + length);
        // Positions that the piece may stand before, on the way as it is.
        let slots = (i.saturating_sub(window)..i).chain(i + length + 1..=way.len().min(i + length + window));
        let mut best: Option<(f64, usize, bool)> = None;
        for slot in slots {
            let left = self.before(way, slot);
            let gap = self.to(way, left, slot);
            for (a, b, turned) in [(first, last, false), (last, first, true)] {
                let cost = distance(left, a) + self.to(way, b, slot) - gap;
                if cost < freed - GAIN && best.is_none_or(|(least, _, _)| cost < least - GAIN) {
                    best = Some((cost, slot, turned));
                }
            }
        }
        let Some((_, slot, turned)) = best else { return false };
        let mut piece: Vec<usize> = way.drain(i..i + length).collect();
        if turned {
            piece.reverse();
        }
        let slot = if slot > i { slot - length } else { slot };
        way.splice(slot..slot, piece);
        true
    }

    /// The shortest way, by the shortest ways through every set of points.
    fn exact(&self) -> Vec<usize> {
        let n = self.at.len();
        if n == 0 || n > EXACT {
            return (0..n).collect();
        }
        let sets = 1_usize << n;
        // Of the ways through a set that end at a point: length, and the point before.
        let mut shortest = vec![(f64::INFINITY, usize::MAX); sets * n];
        for i in 0..n {
            shortest[(1 << i) * n + i] = (distance(self.start, self.at[i]), usize::MAX);
        }
        for set in 1..sets {
            for last in (0..n).filter(|i| set >> i & 1 == 1) {
                let (length, _) = shortest[set * n + last];
                for next in (0..n).filter(|i| set >> i & 1 == 0) {
                    let longer = length + distance(self.at[last], self.at[next]);
                    let slot = &mut shortest[(set | 1 << next) * n + next];
                    if longer < slot.0 {
                        *slot = (longer, last);
                    }
                }
            }
        }
        let mut set = sets - 1;
        let mut last = 0;
        for i in 1..n {
            if shortest[set * n + i].0 < shortest[set * n + last].0 {
                last = i;
            }
        }
        let mut way = vec![last];
        while way.len() < n {
            let (_, before) = shortest[set * n + last];
            set &= !(1 << last);
            last = before;
            way.push(last);
        }
        way.reverse();
        way
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn grid(columns: u16, rows: u16, step: [f64; 2]) -> Vec<[f64; 2]> {
        (0..rows)
            .flat_map(|j| (0..columns).map(move |i| [10.0 + step[0] * f64::from(i), 10.0 + step[1] * f64::from(j)]))
            .collect()
    }

    /// Row by row, back and forth, from the front left: written without the module's help.
    fn boustrophedon(points: &[[f64; 2]], columns: usize) -> Vec<usize> {
        let rows = points.len() / columns;
        (0..rows)
            .flat_map(|j| (0..columns).map(move |i| j * columns + if j % 2 == 0 { i } else { columns - 1 - i }))
            .collect()
    }

    fn is_a_permutation(order: &[usize], n: usize) -> bool {
        let mut sorted = order.to_vec();
        sorted.sort_unstable();
        sorted == (0..n).collect::<Vec<_>>()
    }

    fn brute_force(points: &[[f64; 2]], start: [f64; 2]) -> f64 {
        fn go(points: &[[f64; 2]], left: &mut Vec<usize>, from: [f64; 2], sum: f64, best: &mut f64) {
            if left.is_empty() {
                *best = best.min(sum);
                return;
            }
            for k in 0..left.len() {
                let i = left.remove(k);
                go(points, left, points[i], sum + distance(from, points[i]), best);
                left.insert(k, i);
            }
        }
        let mut best = f64::INFINITY;
        go(points, &mut (0..points.len()).collect(), start, 0.0, &mut best);
        best
    }

    #[test]
    fn a_grid_is_never_longer_than_back_and_forth() {
        for (columns, rows) in [(2, 2), (3, 3), (4, 3), (5, 5), (7, 4), (4, 7), (6, 6), (10, 10), (21, 13), (40, 40)] {
            for step in [[20.0, 20.0], [35.0, 20.0], [20.0, 35.0]] {
                let points = grid(columns, rows, step);
                let order = visiting_order(&points, [0.0, 0.0]);
                assert!(is_a_permutation(&order, points.len()));
                let plain = travel_length(&points, &boustrophedon(&points, usize::from(columns)), [0.0, 0.0]);
                let length = travel_length(&points, &order, [0.0, 0.0]);
                assert!(length <= plain + 1e-9, "{columns} x {rows}, {step:?}: {length} against {plain}");
            }
        }
    }

    #[test]
    fn a_square_grid_goes_back_and_forth() {
        let points = grid(5, 5, [40.0, 40.0]);
        assert_eq!(visiting_order(&points, [0.0, 0.0]), boustrophedon(&points, 5));
    }

    #[test]
    fn points_of_any_number_are_each_visited_once() {
        for n in [0_u32, 1, 2, 11, 12, 13, 200, 1500] {
            let points: Vec<[f64; 2]> =
                (0..n).map(|i| [f64::from(i * 7919 % 1009) * 0.2, f64::from(i * 104_729 % 997) * 0.2]).collect();
            let order = visiting_order(&points, [0.0, 0.0]);
            assert!(is_a_permutation(&order, points.len()), "{n}");
        }
        // Many at one place, and numbers that are none.
        assert!(is_a_permutation(&visiting_order(&[[5.0, 5.0]; 30], [0.0, 0.0]), 30));
        let odd = [[f64::NAN, 0.0], [1.0, 1.0], [f64::INFINITY, 2.0], [0.0, 0.0]];
        assert_eq!(visiting_order(&odd, [f64::NAN, 0.0]), [3, 1, 0, 2]);
        let far = [[1e308, 0.0], [1.0, 1.0], [-1e308, 2.0], [0.0, 0.0]];
        assert_eq!(visiting_order(&far, [0.0, 0.0]), [3, 1, 0, 2]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn few_points_take_the_shortest_way(
            points in prop::collection::vec([0.0..200.0_f64, 0.0..200.0_f64], 1..8),
            start in [0.0..200.0_f64, 0.0..200.0_f64],
        ) {
            let order = visiting_order(&points, start);
            let length = travel_length(&points, &order, start);
            prop_assert!(length <= brute_force(&points, start) + 1e-6);
        }

        #[test]
        fn many_points_are_never_worse_than_the_nearest_next(
            points in prop::collection::vec([0.0..200.0_f64, 0.0..200.0_f64], 12..60),
        ) {
            let start = [0.0, 0.0];
            let order = visiting_order(&points, start);
            prop_assert!(is_a_permutation(&order, points.len()));
            prop_assert_eq!(&order, &visiting_order(&points, start));
            let way = Way { at: &points, start };
            let length = travel_length(&points, &order, start);
            prop_assert!(length <= travel_length(&points, &way.nearest_next(), start) + 1e-6);
            for plain in way.back_and_forth() {
                prop_assert!(length <= travel_length(&points, &plain, start) + 1e-6);
            }
        }

        /// The search alone, where brute force can still judge it.
        #[test]
        fn the_search_comes_near_the_shortest_way(
            points in prop::collection::vec([0.0..200.0_f64, 0.0..200.0_f64], 7),
        ) {
            let start = [0.0, 0.0];
            let way = Way { at: &points, start };
            let searched = way.improved(way.nearest_next());
            prop_assert!(is_a_permutation(&searched, points.len()));
            let length = travel_length(&points, &searched, start);
            let shortest = brute_force(&points, start);
            prop_assert!(length >= shortest - 1e-6);
            // 2-opt stops within half as much again of the shortest on such sets; what it must not do is lengthen.
            prop_assert!(length <= travel_length(&points, &way.nearest_next(), start) + 1e-6);
        }
    }
}
