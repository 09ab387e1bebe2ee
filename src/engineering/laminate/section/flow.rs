//! Torsion by Bredt-Batho, and flows under transverse shear.

use super::graph::{Piece, circulation, open_end};
use super::solve::{Factor, dot};
use super::{Section, SectionError};

/// Torsional stiffness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Torsion {
    /// Torsional stiffness in all, `cells` + `walls`, N m2.
    pub gj: f64,
    /// What the closed cells give by Bredt-Batho, bonds in series; 0 for an open section, N m2.
    pub cells: f64,
    /// What the walls give by their own twisting, sum of 4 D66 s: all of an open section, N m2.
    pub walls: f64,
    /// How many independent circuits the walls make, a lap of two walls counted.
    pub circuits: usize,
}

impl Torsion {
    /// Returns the share of a torque that the cells carry when cells and walls twist alike, 0 to 1;
    /// 0 for a section with no stiffness at all.
    pub fn cell_share(&self) -> f64 {
        if self.gj > 0.0 { self.cells / self.gj } else { 0.0 }
    }
}

/// Equal rate of twist in all circuits: H q = 2A theta', T = sum of 2A q.
pub(super) fn torsion(pieces: &[Piece], areas: &[f64], factor: &Factor) -> Torsion {
    let cells = dot(areas, &factor.solve(areas)).max(0.0);
    let walls: f64 = pieces.iter().map(|piece| piece.twisting).sum();
    Torsion { gj: cells + walls, cells, walls, circuits: areas.len() }
}

/// The shear flow along one wall: from its first node on, falling by what the axial load gains.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flow {
    pub first: f64,
    // Gain of axial load per length at the two ends, N/m2: the slope of the flow, turned round.
    gain: [f64; 2],
    length: f64,
}

impl Flow {
    /// The flow at `s` of the wall's length, 0 to 1.
    pub(super) fn at(&self, s: f64) -> f64 {
        let [g0, g1] = self.gain;
        self.first - self.length * (g0 * s + (g1 - g0) * s * s / 2.0)
    }

    pub(super) fn mean(&self) -> f64 {
        let [g0, g1] = self.gain;
        self.first - self.length * (g0 / 3.0 + g1 / 6.0)
    }

    /// Where along the wall, 0 to 1, the flow is greatest in size, and that flow: at an end, or where the
    /// gain passes 0.
    pub(super) fn peak(&self) -> (f64, f64) {
        let [g0, g1] = self.gain;
        let within = if g0 * g1 < 0.0 { g0 / (g0 - g1) } else { 0.0 };
        let each = [0.0, within, 1.0].map(|s| (s, self.at(s)));
        each.into_iter()
            .fold((0.0, 0.0), |most: (f64, f64), s| if s.1.abs() > most.1.abs() { s } else { most })
    }
}

impl Section {
    /// Returns the Bredt-Batho stiffness of a closed section, without the walls' own twisting, N m2.
    ///
    /// # Errors
    /// [`SectionError::Open`] where the walls bound no cell.
    pub fn closed_gj(&self) -> Result<f64, SectionError> {
        if self.torsion.cells > 0.0 {
            Ok(self.torsion.cells)
        } else {
            Err(SectionError::Open { end: open_end(&self.pieces) })
        }
    }

    /// Returns each wall's share of the cells' flexibility in torsion, in the order of
    /// [`Section::walls`]: its part of 1/GJ. The shares sum to 1.
    ///
    /// # Errors
    /// [`SectionError::Open`].
    ///
    /// # Source
    /// Strain energy: share = q2 s/(G t) over its sum; for one cell (s/G t)/sum of s/(G t).
    pub fn torsion_shares(&self) -> Result<Vec<f64>, SectionError> {
        let flows = self.torsion_flows(1.0)?;
        let gj = self.closed_gj()?;
        Ok(self.pieces.iter().zip(flows).map(|(piece, flow)| flow * flow * piece.flexibility * gj).collect())
    }

    /// Returns the shear flow in each wall of a closed section under a torque, N/m.
    ///
    /// # Arguments
    /// * `torque` – N m, positive from y to z; the cells carry all of it
    ///
    /// # Errors
    /// [`SectionError::Open`].
    pub fn torsion_flows(&self, torque: f64) -> Result<Vec<f64>, SectionError> {
        let gj = self.closed_gj()?;
        let cells: Vec<f64> = self.factor.solve(&self.areas).iter().map(|flow| flow * torque / gj).collect();
        Ok(self.pieces.iter().map(|piece| circulation(piece, &cells)).collect())
    }

    /// Returns the shear centre [y, z], m: a transverse load through it does not twist the section.
    ///
    /// # Errors
    /// [`SectionError::Straight`].
    ///
    /// # Source
    /// Zero rate of twist in every circuit; T. H. G. Megson, Aircraft Structures for Engineering
    /// Students, shear of open and closed sections (from memory).
    pub fn shear_centre(&self) -> Result<[f64; 2], SectionError> {
        let [across, up] = [[1.0, 0.0], [0.0, 1.0]].map(|load| {
            let flows = self.shear_flows(load)?;
            Ok(self.pieces.iter().zip(flows).map(|(piece, flow)| piece.swept() * flow.mean()).sum::<f64>())
        });
        let [y, z] = self.rigidity.centroid;
        let (torque_across, torque_up): (f64, f64) = (across?, up?);
        Ok([y + torque_up, z - torque_across])
    }

    /// The flows of a transverse load [Vy, Vz] through the shear centre.
    pub(super) fn shear_flows(&self, [vy, vz]: [f64; 2]) -> Result<Vec<Flow>, SectionError> {
        // The gain of axial strain per metre is a y + b z, so that the moments grow by the shears.
        let [ei_y, ei_z, ei_yz] = self.midline;
        let [a, b] = bend(ei_y, ei_z, ei_yz, vy, vz)?;
        let mut flows: Vec<Flow> = Vec::with_capacity(self.pieces.len());
        let mut first = vec![0.0; self.pieces.len()];
        for piece in &self.pieces {
            let gain = [piece.start, piece.end].map(|[y, z]| piece.axial * (a * y + b * z));
            let gained = piece.length * f64::midpoint(gain[0], gain[1]);
            // What this wall gains runs off to the root along the tree: the basic flow of the
            // section cut open at the walls that are not of the tree.
            for (flow, step) in first.iter_mut().zip(&piece.way) {
                *flow += step * gained;
            }
            flows.push(Flow { first: 0.0, gain, length: piece.length });
        }
        let mut gaps = vec![0.0; self.areas.len()];
        for ((piece, flow), first) in self.pieces.iter().zip(&mut flows).zip(&first) {
            flow.first = *first;
            for (gap, sense) in gaps.iter_mut().zip(&piece.circuits) {
                *gap -= sense * flow.mean() * piece.flexibility;
            }
        }
        let redundant = self.factor.solve(&gaps);
        for (piece, flow) in self.pieces.iter().zip(&mut flows) {
            flow.first += circulation(piece, &redundant);
        }
        Ok(flows)
    }
}

/// Solves [EIz EIyz; EIyz EIy] [a; b] = [right_y; right_z].
pub(super) fn bend(
    ei_y: f64,
    ei_z: f64,
    ei_yz: f64,
    right_y: f64,
    right_z: f64,
) -> Result<[f64; 2], SectionError> {
    if right_y == 0.0 && right_z == 0.0 {
        return Ok([0.0; 2]);
    }
    let determinant = ei_y * ei_z - ei_yz * ei_yz;
    let scale = (ei_y + ei_z) * (ei_y + ei_z);
    if determinant <= 1e-12 * scale {
        return Err(SectionError::Straight);
    }
    Ok([(ei_y * right_y - ei_yz * right_z) / determinant, (ei_z * right_z - ei_yz * right_y) / determinant])
}
