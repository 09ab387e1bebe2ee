//! Numbers of several stacks side by side, for [`super::side_by_side`].

use super::failure::POINTS;
use pulp::Simd;

/// A stack with a pivot below this share of the matching diagonal goes its own way: what rounding leaves of it could
/// differ from one way to the other by more than is said of [`super::Kinds::first_ply`].
const SOUND_PIVOT: f64 = 1e-5;

/// The most stacks side by side, whatever the instructions.
pub(super) const WIDEST: usize = 8;

/// Numbers side by side, each of one stack.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lane<S: Simd> {
    simd: S,
    own: S::f64s,
}

impl<S: Simd> Lane<S> {
    #[inline(always)]
    pub fn all(simd: S, value: f64) -> Self {
        Self { simd, own: simd.splat_f64s(value) }
    }

    #[inline(always)]
    pub fn of(simd: S, values: [f64; WIDEST]) -> Self {
        Self { simd, own: pulp::cast_lossy(values) }
    }

    /// Numbers that stand in rows, one row a lane, column by column: four at a time, as the instructions like it.
    #[inline(always)]
    pub fn columns<const C: usize>(simd: S, rows: [&[f64; C]; WIDEST]) -> [Self; C] {
        let mut all = [Self::all(simd, 0.0); C];
        let (fours, rest) = all.as_chunks_mut::<4>();
        let done = 4 * fours.len();
        for (at, four) in fours.iter_mut().enumerate() {
            *four = Self::four(simd, rows.map(|row| row.as_chunks::<4>().0.get(at).unwrap_or(&[0.0; 4])));
        }
        for (at, column) in rest.iter_mut().enumerate() {
            let mut values = [0.0; WIDEST];
            for (value, row) in values.iter_mut().zip(rows) {
                *value = row.get(done + at).copied().unwrap_or_default();
            }
            *column = Self::of(simd, values);
        }
        all
    }

    #[inline(always)]
    fn four(simd: S, rows: [&[f64; 4]; WIDEST]) -> [Self; 4] {
        if S::F64_LANES == 4 {
            let [a, b, c, d, ..] = rows;
            let none = simd.splat_f64s(0.0);
            let mut turned = [none; 4];
            for (own, row) in turned.iter_mut().zip([a, b, c, d]) {
                *own = S::as_simd_f64s(row).0.first().copied().unwrap_or(none);
            }
            return simd.deinterleave_shfl_f64s(turned).map(|own| Self { simd, own });
        }
        let mut columns = [[0.0; WIDEST]; 4];
        for (at, row) in rows.into_iter().enumerate() {
            for (column, value) in columns.iter_mut().zip(row) {
                if let Some(own) = column.get_mut(at) {
                    *own = *value;
                }
            }
        }
        columns.map(|values| Self::of(simd, values))
    }

    #[inline(always)]
    pub fn values(self) -> [f64; WIDEST] {
        let mut all = [0.0; WIDEST];
        let (whole, _) = S::as_mut_simd_f64s(&mut all);
        if let Some(own) = whole.first_mut() {
            *own = self.own;
        }
        all
    }

    #[inline(always)]
    pub fn times(self, other: Self) -> Self {
        Self { own: self.simd.mul_f64s(self.own, other.own), ..self }
    }

    #[inline(always)]
    pub fn plus(self, other: Self) -> Self {
        Self { own: self.simd.add_f64s(self.own, other.own), ..self }
    }

    /// `self + a b`, in one instruction where there is one.
    #[inline(always)]
    pub fn and(self, a: Self, b: Self) -> Self {
        Self { own: self.simd.mul_add_e_f64s(a.own, b.own, self.own), ..self }
    }

    /// `self - a b`.
    #[inline(always)]
    pub fn less(self, a: Self, b: Self) -> Self {
        Self { own: self.simd.negate_mul_add_e_f64s(a.own, b.own, self.own), ..self }
    }

    #[inline(always)]
    pub fn inverse(self) -> Self {
        Self { own: self.simd.div_f64s(self.simd.splat_f64s(1.0), self.own), ..self }
    }

    #[inline(always)]
    pub fn root(self) -> Self {
        Self { own: self.simd.sqrt_f64s(self.own), ..self }
    }

    /// The numbers with another in their lowest bits, as [`super::failure::numbered`].
    #[inline(always)]
    pub fn numbered(self, number: S::u64s) -> Self {
        let simd = self.simd;
        let kept = simd.and_u64s(simd.transmute_u64s_f64s(self.own), simd.splat_u64s(!POINTS));
        Self { own: simd.transmute_f64s_u64s(simd.or_u64s(kept, number)), ..self }
    }

    /// The larger of both; what is no number is either not larger or spoils the lane, which then goes its own way.
    #[inline(always)]
    pub fn larger(self, other: Self) -> Self {
        Self { own: self.simd.max_f64s(other.own, self.own), ..self }
    }

    /// `self` where no part of `vector` is farther from 0 than `limit`, else 0.
    #[inline(always)]
    pub fn where_within(self, vector: Vector<S>, limit: f64) -> Self {
        let (simd, mut own) = (self.simd, self.own);
        for part in vector {
            let within = simd.less_than_or_equal_f64s(simd.abs_f64s(part.own), simd.splat_f64s(limit));
            own = simd.select_f64s(within, own, simd.splat_f64s(0.0));
        }
        Self { own, ..self }
    }

    /// `self` where `pivot` is enough beside `scale`, else 0: what is no number never is.
    #[inline(always)]
    pub fn where_sound(self, pivot: Self, scale: Self) -> Self {
        let simd = self.simd;
        let least = simd.mul_f64s(scale.own, simd.splat_f64s(SOUND_PIVOT));
        let none = simd.splat_f64s(0.0);
        let own = simd.select_f64s(simd.greater_than_f64s(pivot.own, least), self.own, none);
        let finite = simd.less_than_or_equal_f64s(pivot.own, simd.splat_f64s(f64::MAX));
        Self { own: simd.select_f64s(finite, own, none), ..self }
    }
}

pub(super) type Vector<S> = [Lane<S>; 3];

/// `from - a b`, the product of two vectors.
///
/// A function and not a closure: what a closure is called by need not be compiled for the instructions at hand.
#[inline(always)]
pub(super) fn less<S: Simd>(from: Lane<S>, a: Vector<S>, b: Vector<S>) -> Lane<S> {
    let ([a1, a2, a3], [b1, b2, b3]) = (a, b);
    from.less(a1, b1).less(a2, b2).less(a3, b3)
}
