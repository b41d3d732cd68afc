//! Natural numbers of any length: just what exact reading and writing of decimals needs.

use core::cmp::Ordering;

/// A natural number: its digits to the base 2^32, the least first, the last not 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Big(Vec<u32>);

impl Big {
    pub(super) fn from(n: u64) -> Big {
        let mut big = Big(vec![low(n), low(n >> 32)]);
        big.trim();
        big
    }

    fn trim(&mut self) {
        while self.0.last() == Some(&0) {
            self.0.pop();
        }
    }

    pub(super) fn is_zero(&self) -> bool {
        self.0.is_empty()
    }

    /// Binary digits.
    pub(super) fn bits(&self) -> usize {
        32 * self.0.len() - self.0.last().map_or(0, |digit| digit.leading_zeros() as usize)
    }

    /// Times `factor`, and `more` on top.
    pub(super) fn grow(&mut self, factor: u32, more: u32) {
        let mut carry = u64::from(more);
        for digit in &mut self.0 {
            carry += u64::from(*digit) * u64::from(factor);
            *digit = low(carry);
            carry >>= 32;
        }
        if carry > 0 {
            self.0.push(low(carry));
        }
    }

    /// Times 10^`power`.
    pub(super) fn times_ten(&mut self, power: usize) {
        for _ in 0..power / 9 {
            self.grow(1_000_000_000, 0);
        }
        for _ in 0..power % 9 {
            self.grow(10, 0);
        }
    }

    /// Times 2^`power`.
    pub(super) fn times_two(&mut self, power: usize) {
        if self.is_zero() {
            return;
        }
        self.grow(1 << (power % 32), 0);
        self.0.splice(0..0, core::iter::repeat_n(0, power / 32));
    }

    pub(super) fn compare(&self, other: &Big) -> Ordering {
        let (ours, theirs) = (self.0.iter().rev(), other.0.iter().rev());
        self.0.len().cmp(&other.0.len()).then_with(|| ours.cmp(theirs))
    }

    pub(super) fn plus(&self, other: &Big) -> Big {
        let (long, short) = if self.0.len() < other.0.len() { (other, self) } else { (self, other) };
        let mut sum = long.clone();
        let mut carry = 0;
        let more = short.0.iter().copied().chain(core::iter::repeat(0));
        for (digit, more) in sum.0.iter_mut().zip(more) {
            carry += u64::from(*digit) + u64::from(more);
            *digit = low(carry);
            carry >>= 32;
        }
        if carry > 0 {
            sum.0.push(low(carry));
        }
        sum
    }

    /// Less `other`, which is not larger.
    pub(super) fn less(&mut self, other: &Big) {
        let mut borrow = false;
        let theirs = other.0.iter().copied().chain(core::iter::repeat(0));
        for (digit, theirs) in self.0.iter_mut().zip(theirs) {
            let (once, under) = digit.overflowing_sub(theirs);
            let (twice, again) = once.overflowing_sub(u32::from(borrow));
            *digit = twice;
            borrow = under || again;
        }
        self.trim();
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the low half is wanted")]
fn low(n: u64) -> u32 {
    n as u32
}
