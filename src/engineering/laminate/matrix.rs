//! Small matrices of the laminate rooms, written out so that nothing is allocated or indexed at run time.

use super::{Matrix3, Vector3};

/// A symmetric 3x3 matrix: entries 11, 12, 16, 22, 26, 66.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Symmetric(pub [f64; 6]);

impl Symmetric {
    pub fn full(&self) -> Matrix3 {
        let [a, b, c, d, e, f] = self.0;
        [[a, b, c], [b, d, e], [c, e, f]]
    }

    pub fn times(&self, v: &Vector3) -> Vector3 {
        let [a, b, c, d, e, f] = self.0;
        let [x, y, z] = *v;
        [a * x + b * y + c * z, b * x + d * y + e * z, c * x + e * y + f * z]
    }

    /// `self + factor other`.
    #[inline]
    pub fn plus(&self, other: &Self, factor: f64) -> Self {
        let [a, b, c, d, e, f] = self.0;
        let [p, q, r, s, t, u] = other.0;
        Self([a + factor * p, b + factor * q, c + factor * r, d + factor * s, e + factor * t, f + factor * u])
    }

    /// The upper triangle of a matrix that is symmetric but for rounding.
    pub fn of(m: &Matrix3) -> Self {
        let [[a, b, c], [_, d, e], [_, _, f]] = *m;
        Self([a, b, c, d, e, f])
    }

    /// L D L' of a positive definite matrix. `None` if a pivot is below `SMALLEST_PIVOT` of `scale`
    /// (the matching diagonal before anything was taken off it): too few digits would be left.
    /// The elimination does not change with the scale of rows and columns, so none is applied.
    #[inline]
    pub fn factor(&self, scale: &Vector3) -> Option<Factored> {
        let [a, b, c, d, e, f] = self.0;
        let [sa, sd, sf] = *scale;
        // Written so that a NaN is no pivot either.
        let good = |pivot: f64, scale: f64| pivot > SMALLEST_PIVOT * scale && pivot.is_finite();
        if !good(a, sa) {
            return None;
        }
        let inverse1 = 1.0 / a;
        let (l21, l31) = (b * inverse1, c * inverse1);
        let d2 = d - l21 * b;
        if !good(d2, sd) {
            return None;
        }
        let inverse2 = 1.0 / d2;
        let v32 = e - l31 * b;
        let l32 = v32 * inverse2;
        let d3 = f - l31 * c - l32 * v32;
        if !good(d3, sf) {
            return None;
        }
        Some(Factored { l21, l31, l32, inverse: [inverse1, inverse2, 1.0 / d3] })
    }

    pub fn diagonal(&self) -> Vector3 {
        let [a, _, _, d, _, f] = self.0;
        [a, d, f]
    }
}

/// Two numbers side by side, which the compiler lays into one register.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair([f64; 2]);

impl Pair {
    #[inline]
    pub fn new(one: f64, other: f64) -> Self {
        Self([one, other])
    }

    #[inline]
    pub fn both(value: f64) -> Self {
        Self([value, value])
    }

    #[inline]
    pub fn times(self, other: Self) -> Self {
        let ([a, b], [x, y]) = (self.0, other.0);
        Self([a * x, b * y])
    }

    #[inline]
    pub fn plus(self, other: Self) -> Self {
        let ([a, b], [x, y]) = (self.0, other.0);
        Self([a + x, b + y])
    }

    /// The sums of two pairs.
    #[inline]
    pub fn sums(self, other: Self) -> (f64, f64) {
        let ([a, b], [x, y]) = (self.0, other.0);
        (a + b, x + y)
    }

    #[inline]
    pub fn parts(self) -> (f64, f64) {
        let [a, b] = self.0;
        (a, b)
    }
}

/// A symmetric matrix that is being summed up, in pairs.
#[derive(Debug, Clone, Copy)]
pub(super) struct SymmetricSum([Pair; 3]);

impl SymmetricSum {
    pub fn none() -> Self {
        Self([Pair::both(0.0); 3])
    }

    /// `self + factor other`.
    #[inline]
    pub fn plus(&self, other: &Symmetric, factor: f64) -> Self {
        let ([p, q, r], [a, b, c, d, e, f]) = (self.0, other.0);
        let factor = Pair::both(factor);
        Self([
            p.plus(factor.times(Pair::new(a, b))),
            q.plus(factor.times(Pair::new(c, d))),
            r.plus(factor.times(Pair::new(e, f))),
        ])
    }

    #[inline]
    pub fn sum(&self) -> Symmetric {
        let [(a, b), (c, d), (e, f)] = self.0.map(Pair::parts);
        Symmetric([a, b, c, d, e, f])
    }
}

/// Pivots below this share of the diagonal leave fewer than four good digits of sixteen.
const SMALLEST_PIVOT: f64 = 1e-12;

/// L D L' of a symmetric 3x3 matrix.
#[derive(Debug, Clone, Copy)]
pub(super) struct Factored {
    l21: f64,
    l31: f64,
    l32: f64,
    inverse: Vector3,
}

impl Factored {
    #[inline]
    pub fn solve(&self, v: &Vector3) -> Vector3 {
        let [p, q, r] = *v;
        let [d1, d2, d3] = self.inverse;
        let q = q - self.l21 * p;
        let r = r - self.l31 * p - self.l32 * q;
        let z = r * d3;
        let y = q * d2 - self.l32 * z;
        let x = p * d1 - self.l21 * y - self.l31 * z;
        [x, y, z]
    }

    /// The inverse times a matrix whose rows are given: column by column.
    #[inline]
    pub fn solve_each(&self, m: &Matrix3) -> Matrix3 {
        let [x, y, z] = transposed(m);
        transposed(&[self.solve(&x), self.solve(&y), self.solve(&z)])
    }

    pub fn inverted(&self) -> Matrix3 {
        self.solve_each(&[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    }
}

#[inline]
pub(super) fn transposed(m: &Matrix3) -> Matrix3 {
    let [[a, b, c], [d, e, f], [g, h, i]] = *m;
    [[a, d, g], [b, e, h], [c, f, i]]
}

#[inline]
pub(super) fn times(m: &Matrix3, v: &Vector3) -> Vector3 {
    let [p, q, r] = m;
    [dot(p, v), dot(q, v), dot(r, v)]
}

#[inline]
pub(super) fn product(m: &Matrix3, n: &Matrix3) -> Matrix3 {
    let [x, y, z] = transposed(n);
    transposed(&[times(m, &x), times(m, &y), times(m, &z)])
}

#[inline]
pub(super) fn dot(a: &Vector3, b: &Vector3) -> f64 {
    let ([x, y, z], [u, v, w]) = (*a, *b);
    x * u + y * v + z * w
}

/// `a + factor b`.
#[inline]
pub(super) fn plus(a: &Vector3, factor: f64, b: &Vector3) -> Vector3 {
    let ([x, y, z], [u, v, w]) = (*a, *b);
    [x + factor * u, y + factor * v, z + factor * w]
}

pub(super) fn matrix_plus(m: &Matrix3, factor: f64, n: &Matrix3) -> Matrix3 {
    let ([p, q, r], [u, v, w]) = (m, n);
    [plus(p, factor, u), plus(q, factor, v), plus(r, factor, w)]
}

/// The 6x6 [a b; b d] of a laminate, eliminated block by block: with `x = a^-1 b` and
/// `s = d - b x`, strains and curvatures follow from `s` and `a` alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Blocks {
    a: Factored,
    x: Matrix3,
    s: Factored,
}

impl Blocks {
    #[inline]
    pub fn new(a: &Symmetric, b: &Symmetric, d: &Symmetric) -> Option<Self> {
        let factored = a.factor(&a.diagonal())?;
        let full = b.full();
        let x = factored.solve_each(&full);
        let taken = product(&full, &x);
        let s = d.plus(&Symmetric::of(&taken), -1.0);
        Some(Self { a: factored, x, s: s.factor(&d.diagonal())? })
    }

    /// Strains and curvatures under forces and moments.
    #[inline]
    pub fn solve(&self, force: &Vector3, moment: &Vector3) -> (Vector3, Vector3) {
        let curvature = self.s.solve(&plus(moment, -1.0, &times(&transposed(&self.x), force)));
        let strain = plus(&self.a.solve(force), -1.0, &times(&self.x, &curvature));
        (strain, curvature)
    }

    /// Alpha, beta and delta of the inverse: strain = alpha N + beta M, curvature = beta' N + delta M.
    pub fn inverted(&self) -> (Matrix3, Matrix3, Matrix3) {
        let delta = self.s.inverted();
        let carried = product(&self.x, &delta);
        let beta = matrix_plus(&[[0.0; 3]; 3], -1.0, &carried);
        let alpha = matrix_plus(&self.a.inverted(), 1.0, &product(&carried, &transposed(&self.x)));
        (alpha, beta, delta)
    }
}
