//! A rectangular plate under pressure and under forces in its plane: deflection, moments, buckling.
//!
//! Linear theory of a flat plate of symmetric build, with shear deformation of the first order
//! where shear stiffnesses are given (a sandwich needs them), else Kirchhoff's. An unsymmetric
//! stack comes in by [`reduced_bending`].
//!
//! Axes: x along the length a, y along the width b, the origin in a corner. M = D kappa with
//! kappa = [-w,xx, -w,yy, -2 w,xy]; forces N are positive in tension. A pressure acts towards +z.
//!
//! Two ways of solution, and the result says which was used:
//! * Navier's double sine series where it is exact: simply supported, D16 = D26 = 0, no shear load.
//! * Otherwise Ritz in Legendre polynomials, integrated so that they keep the supports, with the
//!   degree raised until the results stand still. Sine series are not used with D16, D26: they
//!   break the condition Mx = 0 at the edges term by term and converge slowly.
//!
//! Simply supported is the hard kind: deflection and the rotation along the edge are held.
//!
//! An engineering aid, not approved data.

mod basis;
mod navier;
mod ritz;

use super::{LaminateError, Matrix3, Vector3, within};
use ritz::{Ritz, Shape};
use std::cell::RefCell;
use std::collections::BTreeMap;

/// How all four edges are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Support {
    /// Against deflection; free to turn about the edge.
    SimplySupported,
    /// Against deflection and rotation.
    Clamped,
}

/// A rectangular plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    length: f64,
    width: f64,
    bending: Matrix3,
    shear: Option<[f64; 2]>,
    support: Support,
}

/// Functions after which forces at the edges are waited for no longer.
const PATIENCE: usize = 250;

/// The way to a result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Method {
    /// Navier's series.
    Navier {
        /// Odd terms in each direction, or half-waves along x that were searched.
        terms: usize,
        /// The last doubling of the terms changed the result by this share.
        change: f64,
    },
    /// Ritz in polynomials.
    Ritz {
        /// Functions in x and in y.
        terms: [usize; 2],
        /// The last raising of the degree changed the result by this share.
        change: f64,
    },
}

/// A plate under uniform pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bending {
    /// Deflection in the centre, m.
    pub deflection: f64,
    /// Mx, My, Mxy in the centre, N (N m/m).
    pub centre: Vector3,
    /// Mx in the middle of the edges x = 0 and x = a, My in that of y = 0 and y = b, N; 0 where
    /// simply supported. Negative under a positive pressure.
    pub edge_moments: [f64; 2],
    /// Mxy in the corner (0, 0), N. A thin simply supported plate's corners are held down by
    /// twice as much, in newtons.
    pub corner_twist: f64,
    /// Qx in the middle of the edge x = 0, Qy in that of y = 0, N/m; the reaction of a thin plate
    /// is higher by the change of Mxy along the edge. With a core soft in shear, where they count,
    /// they converge as the moments do; with Ritz and a plate stiff in shear to a few percent.
    pub edge_shears: [f64; 2],
    /// Mx, My, Mxy, N, over half the plate: x at 0, 1/8 to 1/2 of a, then y at 0, 1/8 to 1 of b. The other half
    /// is the same, turned by half a turn about the centre. At simply supported edges Mx or My is nothing.
    pub grid: [[Vector3; 9]; 5],
    /// How it was found.
    pub method: Method,
}

/// Deflection over thickness above which linear theory overstates deflection and moments, and
/// membrane forces matter: common practice, no source.
pub const LINEAR_LIMIT: f64 = 0.5;

impl Bending {
    /// Returns the greatest |Mx|, |My|, |Mxy| of the grid, N.
    pub fn greatest(&self) -> Vector3 {
        let mut most = [0.0_f64; 3];
        for own in self.grid.iter().flatten() {
            for (most, moment) in most.iter_mut().zip(own) {
                *most = most.max(moment.abs());
            }
        }
        most
    }

    /// Returns the deflection over `thickness` (m, above 0), without sign; above
    /// [`LINEAR_LIMIT`] the result is outside linear theory.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`].
    pub fn over_thickness(&self, thickness: f64) -> Result<f64, LaminateError> {
        Ok(self.deflection.abs() / super::thickness("the plate's thickness", thickness)?)
    }
}

/// When a plate buckles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Buckling {
    /// What the load is multiplied by to buckle the plate.
    pub factor: f64,
    /// Half-waves along x and y; none where Ritz or crimping found the factor.
    pub half_waves: Option<[usize; 2]>,
    /// The core shears off in waves of vanishing length before the plate buckles in longer ones.
    pub crimping: bool,
    /// How it was found.
    pub method: Method,
}

impl Plate {
    /// Makes a plate.
    ///
    /// # Arguments
    /// * `sides` – a along x and b along y, m
    /// * `bending` – D, N m, symmetric and positive definite; of an unsymmetric stack the reduced one
    /// * `shear` – transverse shear stiffnesses Sxz, Syz, N/m; none for a plate stiff in shear
    /// * `support` – of all edges
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`], [`LaminateError::NotStiff`].
    pub fn new(
        sides: [f64; 2],
        bending: Matrix3,
        shear: Option<[f64; 2]>,
        support: Support,
    ) -> Result<Plate, LaminateError> {
        let [length, width] = sides;
        for (what, side) in [("the plate's length", length), ("the plate's width", width)] {
            within(what, side, (1e-3..=1e3).contains(&side), "1 mm to 1 km", "m")?;
        }
        let ratio = length / width;
        within("length over width", ratio, (0.02..=50.0).contains(&ratio), "1/50 to 50", "")?;
        for value in bending.iter().flatten() {
            within("the bending stiffness", *value, value.abs() <= 1e12, "at most 1e12", "N m")?;
        }
        let [[d11, d12, d16], [d21, d22, d26], [d61, d62, d66]] = bending;
        let large = d11.abs().max(d22.abs()).max(d66.abs());
        let skew = (d12 - d21).abs().max((d16 - d61).abs()).max((d26 - d62).abs());
        if skew > 1e-6 * large || large < 1e-12 {
            return Err(LaminateError::NotStiff { what: "the bending stiffness D" });
        }
        for stiffness in shear.iter().flatten() {
            let fits = (1e-3..=1e15).contains(stiffness);
            within("the transverse shear stiffness", *stiffness, fits, "0.001 to 1e15", "N/m")?;
        }
        let plate = Plate { length, width, bending, shear, support };
        let least = plate.least_bending();
        if least.is_nan() || least <= 1e-9 * large {
            return Err(LaminateError::NotStiff { what: "the bending stiffness D" });
        }
        Ok(plate)
    }

    /// Returns the smallest eigenvalue of D, N m.
    fn least_bending(&self) -> f64 {
        matrix(&self.bending).symmetric_eigenvalues().min()
    }

    fn is_orthotropic(&self) -> bool {
        let [[d11, _, d16], [_, d22, d26], _] = self.bending;
        d16.abs().max(d26.abs()) <= 1e-6 * (d11 * d22).sqrt()
    }

    /// Returns the factor of `load` at which waves of vanishing length shear the core off.
    ///
    /// Largest eigenvalue of the compression over the shear stiffness, both as 2 x 2.
    fn crimping(&self, load: Vector3) -> Option<f64> {
        let [sx, sy] = self.shear?;
        let (x, y) = (-load[0] / sx, -load[1] / sy);
        let mixed = load[2] / (sx * sy).sqrt();
        let largest = (x + y) / 2.0 + ((x - y).powi(2) / 4.0 + mixed * mixed).sqrt();
        Some(1.0 / largest).filter(|factor| *factor > 0.0 && factor.is_finite())
    }

    /// Degrees to begin with, and by how much to raise them: more along the longer way.
    fn terms(&self) -> ([usize; 2], [usize; 2]) {
        let [[d11, ..], [_, d22, _], _] = self.bending;
        let slender = self.length / self.width * (d22 / d11).sqrt().sqrt();
        let each = [slender, 1.0 / slender].map(|waves| waves.clamp(1.0, 16.0).ceil() as usize);
        (each.map(|waves| 6 + 2 * waves), each.map(|waves| 2 + 2 * (waves / 4)))
    }

    fn most(&self) -> usize {
        match (self.shear, self.is_orthotropic()) {
            (None, _) => 900,
            (Some(_), true) => 400,
            (Some(_), false) => 300,
        }
    }

    /// Raises the degree until `solve` stands still to `settled`, or lets `near` pass at the end.
    /// `difference` gives the share that is judged, and another that is only waited for.
    fn raise<T>(
        &self,
        what: &'static str,
        [settled, near]: [f64; 2],
        solve: impl Fn([usize; 2]) -> Option<T>,
        difference: impl Fn(&T, &T) -> [f64; 2],
    ) -> Result<(T, Method), LaminateError> {
        let (mut terms, more) = self.terms();
        let singular = LaminateError::NotStiff { what: "the stiffness of the plate" };
        let mut last = solve(terms).ok_or(singular.clone())?;
        let mut change = 1.0;
        loop {
            let next = [terms[0] + more[0], terms[1] + more[1]];
            if next[0] * next[1] > self.most() {
                break;
            }
            terms = next;
            let now = solve(terms).ok_or(singular.clone())?;
            let [judged, wished] = difference(&now, &last);
            change = judged;
            last = now;
            if judged <= settled && (wished <= settled || terms[0] * terms[1] > PATIENCE) {
                break;
            }
        }
        if change <= near {
            Ok((last, Method::Ritz { terms, change }))
        } else {
            Err(LaminateError::NotConverged { what, change })
        }
    }
}

/// What is compared when the degree is raised.
struct Solved {
    ritz: Ritz,
    shape: Shape,
    deflection: f64,
    /// In the centre, then at the edges.
    moments: [f64; 5],
    forces: [f64; 2],
}

impl Solved {
    fn new(plate: &Plate, terms: [usize; 2]) -> Option<Solved> {
        let ritz = Ritz::new(plate, terms);
        let shape = ritz.pressure()?;
        let at = |x: f64, y: f64| ritz.local(&shape, [x, y]);
        let (centre, x, y) = (at(0.0, 0.0), at(-1.0, 0.0), at(0.0, -1.0));
        let [mx, my, mxy] = centre.moments;
        let held = plate.support == Support::Clamped;
        let edges = if held { [x.moments[0], y.moments[1]] } else { [0.0; 2] };
        let (deflection, moments) = (centre.deflection, [mx, my, mxy, edges[0], edges[1]]);
        let forces = [x.shears[0], y.shears[1]];
        Some(Solved { ritz, shape, deflection, moments, forces })
    }

    /// As `new`; where twist is coupled and shear soft, edge moments lie on either side of their
    /// limit in turn as the degree rises by 2: the mean of two is far nearer.
    ///
    /// `found` holds the moments of the degrees that were solved for: raised by 2, the one below is there already.
    fn smoothed(
        plate: &Plate,
        terms: [usize; 2],
        found: &RefCell<BTreeMap<[usize; 2], [f64; 5]>>,
    ) -> Option<Solved> {
        let mut now = Solved::new(plate, terms)?;
        if plate.shear.is_some() && plate.support == Support::Clamped {
            let below = terms.map(|count| count - 2);
            let known = found.borrow().get(&below).copied();
            found.borrow_mut().insert(terms, now.moments);
            let before = match known {
                Some(moments) => moments,
                None => Solved::new(plate, below)?.moments,
            };
            for (now, before) in now.moments.iter_mut().zip(before).skip(3) {
                *now = (*now + before) / 2.0;
            }
        }
        Some(now)
    }

    /// Largest change of deflection and moments as a share, the latter of the greatest; and a tenth
    /// of that of the forces at the edges, which converge last.
    fn change(&self, last: &Solved) -> [f64; 2] {
        let share = |now: &[f64], last: &[f64]| {
            let scale = now.iter().fold(f64::MIN_POSITIVE, |most, value| most.max(value.abs()));
            now.iter().zip(last).fold(0.0, |most, (now, last)| f64::max(most, (now - last).abs() / scale))
        };
        [
            share(&self.moments, &last.moments).max(share(&[self.deflection], &[last.deflection])),
            share(&self.forces, &last.forces) / 10.0,
        ]
    }

    fn grid(&self, plate: &Plate) -> [[Vector3; 9]; 5] {
        let held = plate.support == Support::Clamped;
        std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let place = [i as f64 / 4.0 - 1.0, j as f64 / 4.0 - 1.0];
                let [mut mx, mut my, mxy] = self.ritz.local(&self.shape, place).moments;
                // The condition of a free edge holds for the sum, not point by point.
                if !held && i == 0 {
                    mx = 0.0;
                }
                if !held && (j == 0 || j == 8) {
                    my = 0.0;
                }
                [mx, my, mxy]
            })
        })
    }
}

fn matrix(of: &Matrix3) -> nalgebra::Matrix3<f64> {
    nalgebra::Matrix3::from_fn(|row, column| {
        of.get(row).and_then(|row| row.get(column)).copied().unwrap_or(f64::NAN)
    })
}

/// Returns deflection and moments of a plate under uniform pressure.
///
/// # Arguments
/// * `plate` – the plate
/// * `pressure` – Pa, towards +z
///
/// # Errors
/// [`LaminateError::OutOfRange`]; [`LaminateError::NotConverged`] where a very slender or very
/// anisotropic plate needs more terms than are taken.
///
/// # Source
/// Navier: Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd edition, art. 28;
/// Lekhnitskii, Anisotropic Plates, 1968; with shear: Reddy, Mechanics of Laminated Composite Plates
/// and Shells, 2nd edition, section 7.2; Ritz: the same, section 5.4 (all from memory). Shear correction
/// is the caller's, in the stiffness.
///
/// # Example
/// ```
/// use bondline_engineering::laminate::plate::{Plate, Support, pressure};
/// let bending = [[20.0, 2.5, 0.0], [2.5, 8.0, 0.0], [0.0, 0.0, 3.0]];
/// let plate = Plate::new([0.5, 0.4], bending, None, Support::SimplySupported)?;
/// let it = pressure(&plate, 4e3)?;
/// assert!((it.deflection - 61.63355e-3).abs() < 1e-7);
/// assert!(it.over_thickness(3e-3)? > bondline_engineering::laminate::plate::LINEAR_LIMIT);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn pressure(plate: &Plate, pressure: f64) -> Result<Bending, LaminateError> {
    within("the pressure", pressure, pressure.abs() <= 1e12, "a number of at most 1e12", "Pa")?;
    if plate.support == Support::SimplySupported && plate.is_orthotropic() {
        return navier::pressure(plate, pressure);
    }
    let found = RefCell::default();
    let solve = |terms: [usize; 2]| Solved::smoothed(plate, terms, &found);
    let (unit, method) = plate.raise("the deflection of the plate", [1e-4, 2e-3], solve, Solved::change)?;
    let [mx, my, mxy, edge_x, edge_y] = unit.moments.map(|moment| moment * pressure);
    Ok(Bending {
        deflection: unit.deflection * pressure,
        centre: [mx, my, mxy],
        edge_moments: [edge_x, edge_y],
        corner_twist: unit.ritz.local(&unit.shape, [-1.0, -1.0]).moments[2] * pressure,
        edge_shears: unit.forces.map(|force| force * pressure),
        grid: unit.grid(plate).map(|row| row.map(|own| own.map(|moment| moment * pressure))),
        method,
    })
}

/// Returns by what a load in the plane has to be multiplied to buckle a plate; none where no
/// multiple of it does.
///
/// # Arguments
/// * `plate` – the plate
/// * `load` – Nx, Ny, Nxy, N/m, even over the plate; tension is positive
///
/// # Errors
/// [`LaminateError::OutOfRange`]; [`LaminateError::NotConverged`].
///
/// # Source
/// Compression: Lekhnitskii 1968, Timoshenko and Gere, Theory of Elastic Stability, 2nd edition,
/// art. 9.2; with shear deformation: Reddy, as [`pressure()`]; shear and both together: Ritz,
/// Timoshenko and Gere, art. 9.7 (all from memory). Crimping: [`super::sandwich::allowable::crimping`].
///
/// # Example
/// ```
/// use bondline_engineering::laminate::plate::{Plate, Support, buckling};
/// let bending = [[20.0, 2.5, 0.0], [2.5, 8.0, 0.0], [0.0, 0.0, 3.0]];
/// let plate = Plate::new([0.5, 0.4], bending, None, Support::SimplySupported)?;
/// let it = buckling(&plate, [-1000.0, 0.0, 0.0])?.expect("compression buckles");
/// assert!((it.factor - 2.60928).abs() < 1e-5);
/// assert_eq!(it.half_waves, Some([1, 1]));
/// assert_eq!(buckling(&plate, [1000.0, 0.0, 0.0])?, None);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn buckling(plate: &Plate, load: Vector3) -> Result<Option<Buckling>, LaminateError> {
    for value in load {
        within("the load", value, value.abs() <= 1e12, "a number of at most 1e12", "N/m")?;
    }
    let large = load.iter().fold(0.0_f64, |large, value| large.max(value.abs()));
    if large < 1e-12 {
        return Ok(None);
    }
    // Unit size, so that no bound below is about the size of the load.
    let unit = load.map(|value| if value.abs() <= 1e-9 * large { 0.0 } else { value / large });
    if unit[0] >= 0.0 && unit[1] >= 0.0 && unit[0] * unit[1] >= unit[2] * unit[2] {
        return Ok(None);
    }
    let found = if plate.support == Support::SimplySupported && plate.is_orthotropic() && unit[2] == 0.0 {
        navier::buckling(plate, unit)?
    } else {
        // Where the core crimps first, longer waves need not be found to the last digit.
        let limit = plate.crimping(unit).map_or(0.0, |limit| 1.0 / limit);
        let solve = |terms: [usize; 2]| {
            Ritz::new(plate, terms).buckling(unit).map(|reciprocal| reciprocal.max(limit))
        };
        let difference = |now: &f64, last: &f64| [(now - last).abs() / now.abs(), 0.0];
        let (reciprocal, method) =
            plate.raise("the buckling load of the plate", [2e-5, 1e-3], solve, difference)?;
        (reciprocal > 0.0).then_some(Buckling {
            factor: 1.0 / reciprocal,
            half_waves: None,
            crimping: limit > 0.0 && reciprocal <= limit,
            method,
        })
    };
    Ok(found.map(|it| Buckling { factor: it.factor / large, ..it }))
}

/// Returns the reduced bending stiffness of an unsymmetric laminate, D - B A^-1 B, N m.
///
/// An approximation for plates whose edges can move in their plane: exact where N = 0
/// everywhere, low for edges that are held.
///
/// # Arguments
/// * `a`, `b`, `d` – stiffness of the laminate, N/m, N, N m
///
/// # Errors
/// [`LaminateError::NotStiff`] where A or what is left of D is not positive definite.
///
/// # Source
/// Ashton, Approximate solutions for unsymmetrically laminated plates, J. Composite Materials 3,
/// 1969 (from memory).
///
/// # Example
/// ```
/// use bondline_engineering::laminate::plate::reduced_bending;
/// // Two bars on one another: the stiffness about the neutral axis, not about the middle.
/// let diagonal = |x| [[x, 0.0, 0.0], [0.0, x, 0.0], [0.0, 0.0, x]];
/// let it = reduced_bending(&diagonal(4.0), &diagonal(2.0), &diagonal(3.0))?;
/// assert!((it[0][0] - 2.0).abs() < 1e-12);
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn reduced_bending(a: &Matrix3, b: &Matrix3, d: &Matrix3) -> Result<Matrix3, LaminateError> {
    let (a, b, d) = (matrix(a), matrix(b), matrix(d));
    let membrane = LaminateError::NotStiff { what: "the membrane stiffness A" };
    let solved = a.cholesky().ok_or(membrane)?.solve(&b);
    let reduced = d - b.transpose() * solved;
    let reduced = (reduced + reduced.transpose()) / 2.0;
    if reduced.cholesky().is_none() || !reduced.iter().all(|value| value.is_finite()) {
        return Err(LaminateError::NotStiff { what: "the reduced bending stiffness" });
    }
    // nalgebra's own layout is by columns, and the matrix symmetric.
    Ok(reduced.into())
}

#[cfg(test)]
mod tests;
