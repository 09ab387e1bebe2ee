//! Closed and open thin-walled sections with glazing and bonds.
//!
//! The section lies in the y-z plane, x along the member, y to the right, z up. Torque is positive
//! from y to z, moments are right-handed: `My` = integral of z sigma, `Mz` = -integral of y sigma. A
//! wall runs from one node to another; its shear flow is positive that way, on the face that looks
//! along +x.
//!
//! **What is assumed**
//! * Thin straight walls on their mid-lines, the shape of the section kept, warping free.
//! * Walls balanced and uncoupled: bending and torsion of the member do not mix. A laminate with
//!   shear-extension coupling (A16) needs more than this.
//! * EI counts each wall's own thickness. Shear flows under transverse shear use the mid-lines alone,
//!   so that they are in equilibrium with the load to the last digit.
//! * Cells are independent circuits of the walls (a spanning tree of the stiffest walls; every
//!   other wall closes one circuit), with areas signed by their sense. They need not be the cells
//!   that the eye sees: stiffness and wall flows are the same for every choice.
//! * Under torsion the cells carry the whole torque, as in a hand calculation (q = T/2A); what the
//!   walls carry by their own twisting is only counted in GJ and the rate of twist. Flows in a sheet
//!   and a bond are therefore on the safe side, by [`Torsion::cell_share`].
//! * A bond is a spring in series: shear only, no axial stiffness.
//!
//! An engineering aid, not approved data: local stress at corners, peel in bonds, restrained
//! warping, buckling and the change of shape under load are not in it.

mod error;
mod flow;
mod graph;
mod loads;
mod pane;
mod solve;
#[cfg(test)]
mod tests;
mod wall;

pub use error::SectionError;
pub use flow::Torsion;
pub use loads::{SectionLoad, SectionResponse, WallAxial, WallState};
pub use pane::PaneLoss;
pub use wall::{Wall, WallKind};

use graph::Piece;
use serde::{Deserialize, Serialize};
use solve::Factor;

/// A thin-walled section, checked, with its circuits found.
#[derive(Debug, Clone)]
pub struct Section {
    nodes: Vec<[f64; 2]>,
    pieces: Vec<Piece>,
    rigidity: Rigidity,
    // Second moments of the mid-lines alone: [EIy, EIz, EIyz].
    midline: [f64; 3],
    // Twice the signed area of each circuit, and the factored flexibilities of the circuits.
    areas: Vec<f64>,
    factor: Factor,
    torsion: Torsion,
}

/// Axial and bending stiffness of a section.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rigidity {
    /// Axial stiffness EA, N.
    pub ea: f64,
    /// Modulus-weighted centroid [y, z], m.
    pub centroid: [f64; 2],
    /// Integral of E z2 about the centroid: bending about y, N m2.
    pub ei_y: f64,
    /// Integral of E y2 about the centroid: bending about z, N m2.
    pub ei_z: f64,
    /// Integral of E y z about the centroid, N m2.
    pub ei_yz: f64,
    /// Greatest bending stiffness, N m2.
    pub ei_max: f64,
    /// Least bending stiffness, N m2.
    pub ei_min: f64,
    /// Angle of the axis about which bending is stiffest, from y towards z, rad, in (-pi/2, pi/2].
    pub angle: f64,
}

impl Section {
    /// Returns a section of nodes and walls.
    ///
    /// # Arguments
    /// * `nodes` – [y, z] of each node, m; a node that no wall names is passed over
    /// * `walls` – walls between nodes, by their place in `nodes` from 0
    ///
    /// # Errors
    /// [`SectionError`]: a wall that names a node that is not there, a plate without length, pieces
    /// that hang apart, no axial stiffness, a value that is out of range.
    ///
    /// # Source
    /// Stiffness by the sums of E (I + A z2) about the modulus-weighted centroid; torsion by
    /// Bredt-Batho (R. Bredt 1896, S. B. Batho 1916; the equations for several cells as in
    /// D. Johnson, Advanced Structural Mechanics, 2000, eqs 2.37 to 2.40) and sum of 4 D66 s.
    ///
    /// # Example
    /// A box of 200 x 100 mm, 2 mm and 1 mm thick, G = 27 GPa, without the walls' own twisting:
    ///
    /// ```
    /// use bondline_engineering::laminate::{Section, Wall, WallKind};
    /// let nodes = [[0.0, 0.0], [0.2, 0.0], [0.2, 0.1], [0.0, 0.1]];
    /// let plate = |t: f64| WallKind::Plate {
    ///     axial: 70e9 * t, bend: 0.0, shear: 27e9 * t, twist: 0.0, thickness: t,
    /// };
    /// let walls = [
    ///     Wall::new(0, 1, plate(0.002)), Wall::new(1, 2, plate(0.001)),
    ///     Wall::new(2, 3, plate(0.002)), Wall::new(3, 0, plate(0.001)),
    /// ];
    /// let box_ = Section::new(&nodes, &walls)?;
    /// assert!((box_.closed_gj()? - 1.08e5).abs() < 1e-3); // N m2
    /// # Ok::<(), bondline_engineering::laminate::SectionError>(())
    /// ```
    pub fn new(nodes: &[[f64; 2]], walls: &[Wall]) -> Result<Section, SectionError> {
        Self::build(nodes, walls.iter().copied().enumerate().collect())
    }

    /// Returns axial and bending stiffness, each wall's own thickness counted in bending.
    pub fn rigidity(&self) -> Rigidity {
        self.rigidity
    }

    /// Returns the torsional stiffness, in its two parts.
    pub fn torsion(&self) -> Torsion {
        self.torsion
    }

    /// Returns the walls of the section, each with its place among the walls first given.
    pub fn walls(&self) -> impl Iterator<Item = (usize, Wall)> {
        self.pieces.iter().map(|piece| (piece.index, piece.wall))
    }

    fn build(nodes: &[[f64; 2]], walls: Vec<(usize, Wall)>) -> Result<Section, SectionError> {
        let mut pieces = Vec::with_capacity(walls.len());
        for (index, wall) in walls {
            pieces.push(Piece::new(nodes, index, wall)?);
        }
        let circuits = graph::connect(nodes.len(), &mut pieces)?;
        let ea: f64 = pieces.iter().map(|piece| piece.axial * piece.length).sum();
        if ea <= 0.0 {
            return Err(SectionError::NoAxialStiffness);
        }
        let centroid = [0, 1].map(|axis: usize| {
            let moment = pieces.iter().map(|piece| piece.axial * piece.length * piece.middle(axis));
            moment.sum::<f64>() / ea
        });
        for piece in &mut pieces {
            piece.shift(centroid);
        }
        let midline = sum(pieces.iter().map(Piece::midline));
        let whole = sum(pieces.iter().map(Piece::own).chain([midline]));
        let areas = graph::areas(&pieces, circuits);
        let factor =
            Factor::new(&graph::flexibility(&pieces, circuits)).ok_or(SectionError::IllConditioned)?;
        let torsion = flow::torsion(&pieces, &areas, &factor);
        let section = Section {
            nodes: nodes.to_vec(),
            rigidity: rigidity(ea, centroid, whole),
            pieces,
            midline,
            areas,
            factor,
            torsion,
        };
        let Rigidity { ei_max, ei_min, angle, .. } = section.rigidity;
        let all = [ea, centroid[0], centroid[1], ei_max, ei_min, angle, torsion.gj, torsion.cells];
        if all.iter().all(|value| value.is_finite()) {
            Ok(section)
        } else {
            Err(SectionError::IllConditioned)
        }
    }
}

fn sum(parts: impl Iterator<Item = [f64; 3]>) -> [f64; 3] {
    parts.fold([0.0; 3], |[a, b, c], [x, y, z]| [a + x, b + y, c + z])
}

fn rigidity(ea: f64, centroid: [f64; 2], [ei_y, ei_z, ei_yz]: [f64; 3]) -> Rigidity {
    let (mean, half) = ((ei_y + ei_z) / 2.0, (ei_y - ei_z) / 2.0);
    let radius = half.hypot(ei_yz);
    // About an axis at angle phi: EIy cos2 + EIz sin2 - EIyz sin 2phi. Where all axes are alike, y
    // stands for them.
    let rounding = 1e-12 * mean.abs();
    let skew = if ei_yz.abs() <= rounding { 0.0 } else { -ei_yz };
    let angle = if radius <= rounding { 0.0 } else { skew.atan2(half) / 2.0 };
    Rigidity {
        ea,
        centroid,
        ei_y,
        ei_z,
        ei_yz,
        ei_max: mean + radius,
        ei_min: (mean - radius).max(0.0),
        angle,
    }
}
