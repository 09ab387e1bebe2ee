//! First-ply failure of many stacks side by side, for a caller that weighs candidates.
//!
//! One stack is a chain of sums, each waiting for the one before. Here each number stands in lanes, one a
//! stack, so that one instruction adds up several stacks; which instructions there are is asked at run time, and
//! without any that do so the lanes are one. Sums are taken about the tool face instead of the mid-plane, which
//! needs no thickness beforehand. Whatever is not common (heat, criteria of several forms, stacks that bear next to
//! nothing) goes the way of one stack.
//!
//! Every function on the way is `#[inline(always)]`, since what is not inlined is compiled for the least of
//! processors and takes the lanes apart.

use super::failure::{
    FirstPly, JudgedLayer, LEAST_INVERSE, POINTS, PreparedLayer, first_ply_prepared, place, prepare,
};
use super::gauge::StrainForm;
use super::lamination::{LARGEST_LOAD, Load};
use super::lanes::{Lane, Vector, WIDEST, less};
use super::matrix::plus;
use super::recovery::Position;
use super::{Criterion, LaminateError, Vector3};
use pulp::{Arch, Simd, WithSimd};

/// Kinds of layer, made ready for stacks of them.
#[derive(Debug, Clone)]
pub struct Kinds {
    ready: Vec<PreparedLayer>,
    rows: Vec<Row>,
}

/// A stack by the numbers of its kinds, from the tool face, and its load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate<'a> {
    /// For each layer its kind, counted from 0.
    pub layers: &'a [u16],
    /// What it bears.
    pub load: &'a Load,
}

/// What of a kind stands in lanes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    /// Thickness, the six stiffnesses times thickness, and 1 where the kind goes the way of one stack.
    stiff: [f64; 8],
    /// Six quadratic coefficients and three linear ones, thickness, and what fills the last four.
    form: [f64; 12],
}

impl Row {
    /// No layer at all: what fills up the shorter of stacks side by side.
    const NONE: Self = Self { stiff: [0.0; 8], form: [0.0; 12] };

    /// A kind that there is not: the way of one stack says so.
    const UNKNOWN: Self = Self { stiff: [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0], ..Self::NONE };

    fn of(layer: &PreparedLayer) -> Self {
        let ([a, b, c, d, e, f], t) = (layer.membrane.0, layer.thickness);
        let [p, q, r, s, u, v, l, m, n] = layer.form.as_ref().map_or([0.0; 9], StrainForm::coefficients);
        let single = if layer.gauge.is_some() && layer.form.is_none() { 1.0 } else { 0.0 };
        Self { stiff: [t, a, b, c, d, e, f, single], form: [p, q, r, s, u, v, l, m, n, t, 0.0, 0.0] }
    }

    #[inline(always)]
    fn stiff(&self) -> &[f64; 8] {
        &self.stiff
    }

    #[inline(always)]
    fn form(&self) -> &[f64; 12] {
        &self.form
    }

    #[inline(always)]
    fn thickness(&self) -> f64 {
        let [thickness, ..] = self.stiff;
        thickness
    }
}

impl Kinds {
    /// Prepares kinds of layer for a criterion.
    ///
    /// # Errors
    /// Those of [`PreparedLayer::new`], with the number of the kind, from 1, as that of the layer.
    pub fn new(layers: &[JudgedLayer], criterion: Criterion) -> Result<Self, LaminateError> {
        let ready = prepare(layers, criterion)?;
        let rows = ready.iter().map(Row::of).collect();
        Ok(Self { ready, rows })
    }

    /// How many kinds there are.
    pub fn len(&self) -> usize {
        self.ready.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.ready.is_empty()
    }

    /// First-ply failure of every candidate, in their order, put behind what `answers` has. The same as
    /// [`super::first_ply`] of each, but for rounding: factors differ by less than one part in 1e9.
    ///
    /// Nothing is allocated but what `answers` lacks. Stacks of like numbers of layers next to each other are the
    /// quickest, since each is as slow as the longest beside it.
    ///
    /// # Errors
    /// In `answers`, for each candidate those of [`super::first_ply`], and [`LaminateError::OutOfRange`] for a
    /// kind that there is not.
    pub fn first_ply(
        &self,
        candidates: &[Candidate<'_>],
        answers: &mut Vec<Result<FirstPly, LaminateError>>,
    ) {
        answers.reserve(candidates.len());
        Arch::new().dispatch(Work { kinds: self, candidates, answers });
    }

    /// The way of one stack.
    fn single(&self, candidate: &Candidate<'_>) -> Result<FirstPly, LaminateError> {
        let unknown = candidate.layers.iter().find(|kind| usize::from(**kind) >= self.ready.len());
        if let Some(kind) = unknown {
            return Err(LaminateError::OutOfRange {
                what: "the kind of a layer",
                value: f64::from(*kind),
                range: "the number, from 0, of a kind that was prepared",
                unit: "",
            });
        }
        let layers = candidate.layers.iter().filter_map(|kind| self.ready.get(usize::from(*kind)));
        first_ply_prepared(layers, candidate.load)
    }
}

/// What is dispatched to the instructions at hand.
struct Work<'a, 'b> {
    kinds: &'a Kinds,
    candidates: &'a [Candidate<'b>],
    answers: &'a mut Vec<Result<FirstPly, LaminateError>>,
}

impl WithSimd for Work<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for group in self.candidates.chunks(S::F64_LANES.min(WIDEST)) {
            let found = side_by_side(simd, self.kinds, group);
            for (candidate, critical) in group.iter().zip(found) {
                let answer = critical.and_then(|critical| critical.told(self.kinds, candidate));
                self.answers.push(answer.map_or_else(|| self.kinds.single(candidate), Ok));
            }
        }
    }
}

/// L D L' of symmetric matrices side by side, as [`super::matrix::Symmetric::factor`].
struct Factored<S: Simd> {
    l21: Lane<S>,
    l31: Lane<S>,
    l32: Lane<S>,
    inverse: Vector<S>,
}

impl<S: Simd> Factored<S> {
    /// `good` becomes 0 in a lane that has a pivot too small beside `scale`.
    #[inline(always)]
    fn of(m: [Lane<S>; 6], scale: Vector<S>, good: &mut Lane<S>) -> Self {
        let [a, b, c, d, e, f] = m;
        let [sa, sd, sf] = scale;
        let inverse1 = a.inverse();
        let (l21, l31) = (b.times(inverse1), c.times(inverse1));
        let d2 = d.less(l21, b);
        let inverse2 = d2.inverse();
        let v32 = e.less(l31, b);
        let l32 = v32.times(inverse2);
        let d3 = f.less(l31, c).less(l32, v32);
        *good = good.where_sound(a, sa).where_sound(d2, sd).where_sound(d3, sf);
        Self { l21, l31, l32, inverse: [inverse1, inverse2, d3.inverse()] }
    }

    #[inline(always)]
    fn solve(&self, v: Vector<S>) -> Vector<S> {
        let [p, q, r] = v;
        let [d1, d2, d3] = self.inverse;
        let q = q.less(self.l21, p);
        let r = r.less(self.l31, p).less(self.l32, q);
        let z = r.times(d3);
        let y = q.times(d2).less(self.l32, z);
        let x = p.times(d1).less(self.l21, y).less(self.l31, z);
        [x, y, z]
    }
}

/// What the lanes found of one stack.
#[derive(Debug, Clone, Copy)]
struct Critical {
    /// The largest inverse of a factor, doubled, with the number of its point in the lowest bits.
    largest: f64,
    /// Strain of the tool face.
    strain: Vector3,
    curvature: Vector3,
}

impl Critical {
    /// The answer in whole; `None` where the stack goes its own way.
    #[inline(always)]
    fn told(&self, kinds: &Kinds, candidate: &Candidate<'_>) -> Option<FirstPly> {
        let (layer, position) = place(self.largest)?;
        let below = candidate.layers.get(..layer)?.iter();
        let bottom =
            below.fold(0.0, |z, kind| z + kinds.rows.get(usize::from(*kind)).map_or(0.0, Row::thickness));
        let ready = candidate.layers.get(layer).and_then(|kind| kinds.ready.get(usize::from(*kind)))?;
        let z = if position == Position::Top { bottom + ready.thickness } else { bottom };
        ready.fails_at(&plus(&self.strain, z, &self.curvature), layer, position)
    }
}

/// The critical point of as many stacks as there are lanes, or fewer; `None` for a stack that goes its own way.
#[inline(always)]
fn side_by_side<S: Simd>(simd: S, kinds: &Kinds, group: &[Candidate<'_>]) -> [Option<Critical>; WIDEST] {
    let mut found = [None; WIDEST];
    let (mut layers, mut forces, mut moments) = ([&[][..]; WIDEST], [&[0.0; 3]; WIDEST], [&[0.0; 3]; WIDEST]);
    let mut plies = 0;
    for (((candidate, layers), force), moment) in
        group.iter().zip(&mut layers).zip(&mut forces).zip(&mut moments)
    {
        (*layers, *force, *moment) = (candidate.layers, &candidate.load.force, &candidate.load.moment);
        plies = plies.max(candidate.layers.len());
    }
    // More layers than points can be numbered.
    if plies as u64 > POINTS / 2 {
        return found;
    }
    let stacks = Stacks { simd, kinds, layers, plies };
    let loads = [Lane::columns(simd, forces), Lane::columns(simd, moments)];
    let Strained { strain, curvature, good } = stacks.strained(loads);
    let largest = stacks.largest(strain, curvature).values();
    let (strain, curvature) = (across(strain), across(curvature));
    let lanes = good.values().into_iter().zip(largest).zip(strain).zip(curvature);
    for ((own, candidate), (((good, largest), strain), curvature)) in found.iter_mut().zip(group).zip(lanes) {
        if candidate.load.temperature == 0.0 && good > 0.0 && largest > LEAST_INVERSE {
            *own = Some(Critical { largest, strain, curvature });
        }
    }
    found
}

/// The vector of each lane.
#[inline(always)]
fn across<S: Simd>([x, y, z]: Vector<S>) -> [Vector3; WIDEST] {
    let mut all = [[0.0; 3]; WIDEST];
    for (((own, x), y), z) in all.iter_mut().zip(x.values()).zip(y.values()).zip(z.values()) {
        *own = [x, y, z];
    }
    all
}

/// Stacks side by side.
struct Stacks<'a, S: Simd> {
    simd: S,
    kinds: &'a Kinds,
    /// Of each lane the kinds of its layers; none in a lane without a stack.
    layers: [&'a [u16]; WIDEST],
    /// The most layers of any.
    plies: usize,
}

struct Strained<S: Simd> {
    /// Of the tool face.
    strain: Vector<S>,
    curvature: Vector<S>,
    /// Above 0 where the stack goes with the others.
    good: Lane<S>,
}

impl<S: Simd> Stacks<'_, S> {
    /// The same layer of every stack.
    #[inline(always)]
    fn rows(&self, ply: usize) -> [&Row; WIDEST] {
        let mut rows = [&Row::NONE; WIDEST];
        for (row, layers) in rows.iter_mut().zip(&self.layers).take(S::F64_LANES) {
            if let Some(kind) = layers.get(ply) {
                *row = self.kinds.rows.get(usize::from(*kind)).unwrap_or(&Row::UNKNOWN);
            }
        }
        rows
    }

    #[inline(always)]
    fn all(&self, value: f64) -> Lane<S> {
        Lane::all(self.simd, value)
    }

    #[inline(always)]
    fn strained(&self, [force, moment]: [Vector<S>; 2]) -> Strained<S> {
        let none = self.all(0.0);
        let (mut a, mut b, mut d) = ([none; 6], [none; 6], [none; 6]);
        let mut z = none;
        let mut good = self.all(1.0).where_within(force, LARGEST_LOAD).where_within(moment, LARGEST_LOAD);
        for ply in 0..self.plies {
            let [thickness, membrane @ .., single] = Lane::columns(self.simd, self.rows(ply).map(Row::stiff));
            let middle = z.and(thickness, self.all(0.5));
            // Parallel axes, as of one stack.
            let second = middle.times(middle).and(thickness.times(thickness), self.all(1.0 / 12.0));
            for (((a, b), d), membrane) in a.iter_mut().zip(&mut b).zip(&mut d).zip(membrane) {
                *a = a.plus(membrane);
                *b = b.and(membrane, middle);
                *d = d.and(membrane, second);
            }
            z = z.plus(thickness);
            good = good.less(single, self.all(1.0));
        }
        let ([a11, .., a22, _, a66], [b11, b12, b16, b22, b26, b66]) = (a, b);
        let [d11, d12, d16, d22, d26, d66] = d;
        let half = z.times(self.all(0.5));
        // A pivot is held against the stiffness about the mid-plane, as that of one stack.
        let square = half.times(half);
        let scale = [
            d11.less(z, b11).and(square, a11),
            d22.less(z, b22).and(square, a22),
            d66.less(z, b66).and(square, a66),
        ];
        let membrane = Factored::of(a, [a11, a22, a66], &mut good);
        let (b1, b2, b3) = ([b11, b12, b16], [b12, b22, b26], [b16, b26, b66]);
        let (x1, x2, x3) = (membrane.solve(b1), membrane.solve(b2), membrane.solve(b3));
        let rest = [
            less(d11, b1, x1),
            less(d12, b1, x2),
            less(d16, b1, x3),
            less(d22, b2, x2),
            less(d26, b2, x3),
            less(d66, b3, x3),
        ];
        let bending = Factored::of(rest, scale, &mut good);
        let ([n1, n2, n3], [m1, m2, m3]) = (force, moment);
        // Moments about the tool face.
        let curvature = bending.solve([
            less(m1.and(half, n1), x1, force),
            less(m2.and(half, n2), x2, force),
            less(m3.and(half, n3), x3, force),
        ]);
        let [e1, e2, e3] = membrane.solve(force);
        // The solutions stand in columns.
        let ([p1, p2, p3], [q1, q2, q3], [r1, r2, r3]) = (x1, x2, x3);
        let strain = [
            less(e1, [p1, q1, r1], curvature),
            less(e2, [p2, q2, r2], curvature),
            less(e3, [p3, q3, r3], curvature),
        ];
        Strained { strain, curvature, good }
    }

    /// The largest inverse over both faces of all layers, numbered.
    #[inline(always)]
    fn largest(&self, strain: Vector<S>, curvature: Vector<S>) -> Lane<S> {
        let (mut largest, mut z) = (self.all(0.0), self.all(0.0));
        let mut below = Monomials::of(strain, curvature, z);
        let simd = self.simd;
        let (mut left, one) = (simd.splat_u64s(POINTS), simd.splat_u64s(1));
        for ply in 0..self.plies {
            let [a, b, c, d, e, f, l, m, n, thickness, _, _] =
                Lane::columns(self.simd, self.rows(ply).map(Row::form));
            let form = [a, b, c, d, e, f, l, m, n];
            z = z.plus(thickness);
            // A face of one layer is that of the next.
            let above = Monomials::of(strain, curvature, z);
            left = simd.sub_u64s(left, one);
            largest = largest.larger(below.inverse(&form).numbered(left));
            left = simd.sub_u64s(left, one);
            largest = largest.larger(above.inverse(&form).numbered(left));
            below = above;
        }
        largest
    }
}

/// Strains side by side, and the products of their components.
#[derive(Clone, Copy)]
struct Monomials<S: Simd> {
    own: Vector<S>,
    products: [Lane<S>; 6],
}

impl<S: Simd> Monomials<S> {
    /// At a height over the tool face.
    #[inline(always)]
    fn of([e1, e2, e3]: Vector<S>, [k1, k2, k3]: Vector<S>, z: Lane<S>) -> Self {
        let (x, y, g) = (e1.and(z, k1), e2.and(z, k2), e3.and(z, k3));
        let products = [x.times(x), y.times(y), g.times(g), x.times(y), x.times(g), y.times(g)];
        Self { own: [x, y, g], products }
    }

    /// Two over the factor at which a form is 1.
    #[inline(always)]
    fn inverse(&self, form: &[Lane<S>; 9]) -> Lane<S> {
        let ([a, b, c, d, e, f, l, m, n], [x, y, g]) = (*form, self.own);
        let [xx, yy, gg, xy, xg, yg] = self.products;
        let linear = l.times(x).and(m, y).and(n, g);
        let quadratic = a.times(xx).and(b, yy).and(c, gg);
        let cross = d.times(xy).and(e, xg).and(f, yg);
        linear.plus(quadratic.plus(cross).and(linear, linear).root())
    }
}

#[cfg(test)]
#[path = "side_by_side_tests.rs"]
mod tests;
