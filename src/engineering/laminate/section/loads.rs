//! A section under load: strains, stresses, flows, rate of twist.

use super::flow::bend;
use super::graph::Piece;
use super::{Section, SectionError, WallKind};

/// Loads on a section. Moments act at the centroid, right-handed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SectionLoad {
    /// Axial force at the centroid, tension positive, N.
    pub n: f64,
    /// Bending moment about y, N m; positive stretches the upper side.
    pub my: f64,
    /// Bending moment about z, N m; positive stretches the left side (smaller y).
    pub mz: f64,
    /// Transverse force along y, N.
    pub vy: f64,
    /// Transverse force along z, N.
    pub vz: f64,
    /// The point through which the transverse force acts, m; without one, the shear centre.
    pub at: Option<[f64; 2]>,
    /// Torque beside it, N m, positive from y to z.
    pub torque: f64,
}

/// A section under load.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionResponse {
    /// The torque about the shear centre, N m.
    pub torque: f64,
    /// Rate of twist, rad/m.
    pub rate_of_twist: f64,
    /// The walls, in the order of [`Section::walls`].
    pub walls: Vec<WallState>,
}

/// One wall under load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallState {
    /// Its place among the walls first given.
    pub wall: usize,
    /// Strain and stress along the member; none for a bond, whose axial stiffness is left out.
    pub axial: Option<WallAxial>,
    /// Shear flow at its two ends, N/m, positive from `from` to `to`.
    pub flow: [f64; 2],
    /// The shear flow of greatest size along it, with its sign, N/m.
    pub peak_flow: f64,
    /// `peak_flow` over the thickness of a plate or the width of a bond, Pa.
    pub shear_stress: f64,
    /// Shear stress at the surface from the wall's own twisting, as in a homogeneous wall:
    /// 12 D66 theta'/t2, Pa; 0 for a bond. In a closed section small, in an open one all there is of
    /// torsion.
    pub twist_stress: f64,
}

/// Strain and stress of a plate along the member.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallAxial {
    /// Strain of the mid-line at its two ends.
    pub strain: [f64; 2],
    /// Mean stress through the thickness at its two ends, Pa; of a laminate no ply's stress.
    pub stress: [f64; 2],
    /// The strain of greatest size at a surface, with its sign.
    pub surface_strain: f64,
    /// Greatest principal tension, Pa, of `stress` with the shear of the flow and of twisting together,
    /// at its two ends and where the flow is greatest; what a sheet's crazing is held against. Bending
    /// through the thickness is not in it.
    pub principal_stress: f64,
}

impl Section {
    /// Returns strains, stresses, flows and the rate of twist under a load.
    ///
    /// Flows are those of the transverse force through the shear centre plus those of the torque
    /// about it.
    ///
    /// # Errors
    /// [`SectionError::Straight`] for a transverse load or a moment on a flat strip;
    /// [`SectionError::NoTorsion`] for a torque that nothing carries;
    /// [`SectionError::LoadOutOfRange`].
    ///
    /// # Source
    /// Engineering bending theory with modulus-weighted properties; Bredt-Batho; see [`Section::new`].
    ///
    /// # Example
    /// A square tube of 100 x 100 x 2 mm under 2 kN m: q = T/2A = 100 N/mm, 50 MPa.
    ///
    /// ```
    /// use bondline_engineering::laminate::{SectionLoad, Section, Wall};
    /// let nodes = [[0.0, 0.0], [0.1, 0.0], [0.1, 0.1], [0.0, 0.1]];
    /// let walls = [0, 1, 2, 3].map(|at| Wall::sheet(at, (at + 1) % 4, 70e9, 0.3, 0.002));
    /// let tube = Section::new(&nodes, &walls)?;
    /// let under = tube.under(&SectionLoad { torque: 2000.0, ..SectionLoad::default() })?;
    /// for wall in &under.walls {
    ///     assert!((wall.shear_stress - 50e6).abs() < 1.0); // Pa
    /// }
    /// # Ok::<(), bondline_engineering::laminate::SectionError>(())
    /// ```
    pub fn under(&self, load: &SectionLoad) -> Result<SectionResponse, SectionError> {
        check(load)?;
        let through = if load.vy == 0.0 && load.vz == 0.0 {
            0.0
        } else if let Some([y, z]) = load.at {
            let [centre_y, centre_z] = self.shear_centre()?;
            (y - centre_y) * load.vz - (z - centre_z) * load.vy
        } else {
            0.0
        };
        let torque = load.torque + through;
        let gj = self.torsion.gj;
        if torque != 0.0 && gj <= 0.0 {
            return Err(SectionError::NoTorsion);
        }
        let rate_of_twist = if torque == 0.0 { 0.0 } else { torque / gj };
        // An open section carries a torque by its walls' own twisting alone, with no mean flow.
        let twisted = self.torsion_flows(torque).unwrap_or_else(|_| vec![0.0; self.pieces.len()]);
        let sheared = self.shear_flows([load.vy, load.vz])?;
        let r = self.rigidity;
        let slope = bend(r.ei_y, r.ei_z, r.ei_yz, -load.mz, load.my)?;
        let walls = self.pieces.iter().zip(sheared).zip(twisted).map(|((piece, mut flow), torsion)| {
            flow.first += torsion;
            let (flows, (place, peak_flow)) = ([flow.first, flow.at(1.0)], flow.peak());
            let (over, twist_stress) = match piece.wall.kind {
                WallKind::Plate { thickness, twist, .. } => {
                    (thickness, 12.0 * twist * rate_of_twist / (thickness * thickness))
                }
                WallKind::Bond { width, .. } => (width, 0.0),
            };
            let shear = [(0.0, flows[0]), (1.0, flows[1]), (place, peak_flow)]
                .map(|(place, flow)| (place, (flow / over).abs() + twist_stress.abs()));
            let axial = axial(piece, load.n / r.ea, slope, shear);
            let shear_stress = peak_flow / over;
            WallState { wall: piece.index, axial, flow: flows, peak_flow, shear_stress, twist_stress }
        });
        Ok(SectionResponse { torque, rate_of_twist, walls: walls.collect() })
    }
}

fn axial(piece: &Piece, mean: f64, [a, b]: [f64; 2], shear: [(f64, f64); 3]) -> Option<WallAxial> {
    let WallKind::Plate { axial, thickness, .. } = piece.wall.kind else { return None };
    let strain = [piece.start, piece.end].map(|[y, z]| mean + a * y + b * z);
    let [dy, dz] = piece.along();
    let across = (thickness / 2.0 * (b * dy - a * dz) / piece.length).abs();
    let surface = strain.map(|strain| strain + across.copysign(strain));
    let surface_strain = if surface[0].abs() > surface[1].abs() { surface[0] } else { surface[1] };
    let stress = strain.map(|strain| strain * axial / thickness);
    let principal = shear.map(|(place, shear)| {
        let half = (stress[0] + place * (stress[1] - stress[0])) / 2.0;
        half + half.hypot(shear)
    });
    let principal_stress = principal.into_iter().fold(0.0, f64::max);
    Some(WallAxial { strain, stress, surface_strain, principal_stress })
}

fn check(load: &SectionLoad) -> Result<(), SectionError> {
    let [y, z] = load.at.unwrap_or_default();
    let each = [
        ("the axial force", load.n, "N"),
        ("the moment about y", load.my, "N m"),
        ("the moment about z", load.mz, "N m"),
        ("the force along y", load.vy, "N"),
        ("the force along z", load.vz, "N"),
        ("the torque", load.torque, "N m"),
        ("the y of the force's point", y, "m"),
        ("the z of the force's point", z, "m"),
    ];
    match each.into_iter().find(|(_, value, _)| !(-1e15..=1e15).contains(value)) {
        Some((what, value, unit)) => Err(SectionError::LoadOutOfRange { what, value, unit }),
        None => Ok(()),
    }
}
