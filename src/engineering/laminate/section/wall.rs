//! The walls of a section.

use super::SectionError;

/// One wall of a section, between two nodes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// The node that it comes from, counted from 0.
    pub from: usize,
    /// The node that it goes to.
    pub to: usize,
    /// What it is.
    pub kind: WallKind,
    /// Whether it is part of the pane, whose loss is a case of its own.
    pub pane: bool,
}

/// A plate of laminate or sheet, or a bond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WallKind {
    /// A laminate or a sheet.
    Plate {
        /// Axial stiffness per width, E t or 1/a11, N/m; 0 for a wall that carries shear only.
        axial: f64,
        /// Bending stiffness per width across its own thickness, E t3/12 or 1/d11, N m; 0 leaves it out.
        bend: f64,
        /// In-plane shear stiffness per width, G t or 1/a66, N/m.
        shear: f64,
        /// Twisting stiffness per width, D66 = G t3/12 or 1/d66, N m; 0 leaves it out.
        twist: f64,
        /// Thickness over which flows become stresses, m.
        thickness: f64,
    },
    /// A bond between two plates: flexibility `thickness/(g width)` per metre of member, whatever the
    /// distance of its nodes, which may coincide.
    Bond {
        /// Width of the bonded strip (the bite), m.
        width: f64,
        /// Thickness of the adhesive, m.
        thickness: f64,
        /// Shear modulus of the adhesive, Pa.
        g: f64,
    },
}

impl Wall {
    /// Returns a wall that is no part of the pane.
    pub fn new(from: usize, to: usize, kind: WallKind) -> Wall {
        Wall { from, to, kind, pane: false }
    }

    /// Returns a wall of isotropic sheet.
    ///
    /// # Arguments
    /// * `from`, `to` – nodes, counted from 0
    /// * `e` – Young's modulus, Pa
    /// * `nu` – Poisson's ratio, above -1 to below 0.5; G = E/(2 (1 + nu))
    /// * `t` – thickness, m
    ///
    /// Whatever is out of range is refused by [`super::Section::new`].
    pub fn sheet(from: usize, to: usize, e: f64, nu: f64, t: f64) -> Wall {
        Self::of_moduli(from, to, e, e / (2.0 * (1.0 + nu)), t)
    }

    /// Returns a wall of one homogeneous material with its own shear modulus.
    ///
    /// # Arguments
    /// * `e` – modulus along the member, Pa
    /// * `g` – in-plane shear modulus, Pa
    /// * `t` – thickness, m
    pub fn of_moduli(from: usize, to: usize, e: f64, g: f64, t: f64) -> Wall {
        let cube = t * t * t / 12.0;
        let kind =
            WallKind::Plate { axial: e * t, bend: e * cube, shear: g * t, twist: g * cube, thickness: t };
        Self::new(from, to, kind)
    }

    /// Returns a wall of laminate from its compliances, the laminate's x along the member.
    ///
    /// # Arguments
    /// * `a11`, `a66` – in-plane compliances, m/N, of the whole inverse of A, B, D
    /// * `d11`, `d66` – bending and twisting compliances of the same inverse, 1/(N m)
    /// * `t` – thickness, m; of a sandwich that of the faces together, since it makes flows stresses
    ///
    /// The wall is then free to strain across and to curl; with B other than 0 it is softer so than
    /// the section lets it be. Twist is 1/d66, the D66 of `GJ = sum of 4 D66 s`.
    pub fn laminate(from: usize, to: usize, [a11, a66]: [f64; 2], [d11, d66]: [f64; 2], t: f64) -> Wall {
        let kind = WallKind::Plate {
            axial: 1.0 / a11,
            bend: 1.0 / d11,
            shear: 1.0 / a66,
            twist: 1.0 / d66,
            thickness: t,
        };
        Self::new(from, to, kind)
    }

    /// Returns a bond.
    ///
    /// # Arguments
    /// * `width` – of the bonded strip, m
    /// * `thickness` – of the adhesive, m
    /// * `g` – its shear modulus at temperature, Pa
    pub fn bond(from: usize, to: usize, width: f64, thickness: f64, g: f64) -> Wall {
        Self::new(from, to, WallKind::Bond { width, thickness, g })
    }

    /// Returns the same wall as part of the pane.
    #[must_use]
    pub fn as_pane(self) -> Wall {
        Wall { pane: true, ..self }
    }

    pub(super) fn check(&self, wall: usize) -> Result<(), SectionError> {
        // Wide enough for anything that is built and far from where a product of them overflows.
        let within = |what, value: f64, fits: bool, range, unit| {
            if fits { Ok(()) } else { Err(SectionError::WallOutOfRange { wall, what, value, range, unit }) }
        };
        let thick = |what, t| within(what, t, (1e-7..=1.0).contains(&t), "0.1 um to 1 m", "m");
        match self.kind {
            WallKind::Plate { axial, bend, shear, twist, thickness } => {
                let stiff = |value: f64, least: f64| value == 0.0 || (least..=1e13).contains(&value);
                within("the axial stiffness", axial, stiff(axial, 1e-3), "0, or 0.001 to 1e13", "N/m")?;
                within("the bending stiffness", bend, stiff(bend, 1e-15), "0, or 1e-15 to 1e13", "N m")?;
                let fits = (1e-3..=1e13).contains(&shear);
                within("the shear stiffness", shear, fits, "0.001 to 1e13", "N/m")?;
                within("the twisting stiffness", twist, stiff(twist, 1e-15), "0, or 1e-15 to 1e13", "N m")?;
                thick("the thickness", thickness)
            }
            WallKind::Bond { width, thickness, g } => {
                within("the width", width, (1e-6..=10.0).contains(&width), "1 um to 10 m", "m")?;
                thick("the bond's thickness", thickness)?;
                within("the bond's shear modulus", g, (1.0..=1e12).contains(&g), "1 Pa to 1000 GPa", "Pa")
            }
        }
    }
}
