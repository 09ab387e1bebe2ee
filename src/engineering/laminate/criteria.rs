//! Failure criteria of a ply under plane stress, each as a reserve factor.

use super::elastic::Lamina;
use super::gauge::Gauge;
use super::{LaminateError, Vector3, within};

/// Strengths of a ply in its own axes, Pa, all positive. What was not tested is `None`, and a
/// criterion that needs it says so.
///
/// These are values of plain specimens as a rule: undamaged, unnotched.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlyStrength {
    /// Tension along 1.
    pub xt: Option<f64>,
    /// Compression along 1.
    pub xc: Option<f64>,
    /// Tension along 2.
    pub yt: Option<f64>,
    /// Compression along 2.
    pub yc: Option<f64>,
    /// In-plane shear.
    pub s: Option<f64>,
    /// Shear across the fibres, in the plane 2-3, which Hashin's criterion takes in compression along
    /// 2; without it half of `yc`.
    pub s23: Option<f64>,
}

impl PlyStrength {
    /// Returns the strengths if each that is given can be one.
    ///
    /// # Errors
    /// [`LaminateError::OutOfRange`] for a strength outside 1 Pa to 1 TPa.
    pub fn checked(self) -> Result<Self, LaminateError> {
        let Self { xt, xc, yt, yc, s, s23 } = self;
        for (what, value) in [("Xt", xt), ("Xc", xc), ("Yt", yt), ("Yc", yc), ("S", s), ("S23", s23)] {
            if let Some(value) = value {
                within(what, value, (1.0..=1e12).contains(&value), "1 Pa to 1 TPa", "Pa")?;
            }
        }
        Ok(self)
    }
}

/// A failure criterion for one ply under plane stress.
///
/// With s1, s2, t the stresses in ply axes and X, Y, S strengths of the matching sign:
/// - maximum stress: the first of s1 = X, s2 = Y, t = S;
/// - maximum strain: the same of the strains, whose limits are strength over modulus;
/// - Tsai-Hill: (s1/X)^2 - s1 s2/X^2 + (s2/Y)^2 + (t/S)^2 = 1, X of the sign of s1 in both terms;
/// - Tsai-Wu: F1 s1 + F2 s2 + F11 s1^2 + F22 s2^2 + F66 t^2 + 2 F12 s1 s2 = 1 with F1 = 1/Xt - 1/Xc,
///   F11 = 1/(Xt Xc) and so on, F66 = 1/S^2, F12 = `interaction` sqrt(F11 F22);
/// - Hashin: four modes. Fibre tension (s1/Xt)^2 + (t/S)^2 = 1 (shear counts in whole, alpha = 1);
///   fibre compression |s1| = Xc; matrix tension (s2/Yt)^2 + (t/S)^2 = 1; matrix compression
///   (s2/(2 S23))^2 + ((Yc/(2 S23))^2 - 1) s2/Yc + (t/S)^2 = 1.
///
/// # Source
/// Tsai-Wu: S. W. Tsai, E. M. Wu, J. Composite Materials 5, 1971. Tsai-Hill: as in R. M. Jones,
/// Mechanics of Composite Materials. Hashin: Z. Hashin, J. Applied Mechanics 47, 1980. All from memory;
/// figures in the tests were computed with numpy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Criterion {
    /// Each stress against its own strength.
    MaximumStress,
    /// Each strain against strength over modulus.
    MaximumStrain,
    /// One quadratic form.
    TsaiHill {
        /// Strengths by the sign of the stress; otherwise those of tension always.
        by_sign: bool,
    },
    /// One quadratic form with linear terms.
    TsaiWu {
        /// F12 over sqrt(F11 F22): above -1, below 1.
        interaction: f64,
    },
    /// Fibre and matrix apart.
    Hashin,
}

impl Criterion {
    /// Tsai-Hill with strengths by the sign of the stress.
    pub const TSAI_HILL: Self = Self::TsaiHill { by_sign: true };
    /// Tsai-Wu with the interaction -0.5, the usual choice where no biaxial test was made.
    pub const TSAI_WU: Self = Self::TsaiWu { interaction: -0.5 };

    /// Its name in lower case, as a sentence takes it.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::MaximumStress => "maximum stress",
            Self::MaximumStrain => "maximum strain",
            Self::TsaiHill { by_sign: true } => "Tsai-Hill",
            Self::TsaiHill { by_sign: false } => "Tsai-Hill with tensile strengths",
            Self::TsaiWu { .. } => "Tsai-Wu",
            Self::Hashin => "Hashin",
        }
    }
}

/// How a ply fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mode {
    /// Tension along 1.
    FibreTension,
    /// Compression along 1.
    FibreCompression,
    /// Tension along 2.
    MatrixTension,
    /// Compression along 2.
    MatrixCompression,
    /// In-plane shear.
    Shear,
    /// All stresses in one form: the criterion knows no mode.
    Interaction,
}

impl Mode {
    /// Its name in lower case.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FibreTension => "fibre tension",
            Self::FibreCompression => "fibre compression",
            Self::MatrixTension => "matrix tension",
            Self::MatrixCompression => "matrix compression",
            Self::Shear => "shear",
            Self::Interaction => "interaction",
        }
    }

    /// Whether fibres break or buckle.
    pub const fn is_fibre(self) -> bool {
        matches!(self, Self::FibreTension | Self::FibreCompression)
    }
}

/// How far a ply is from failure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reserve {
    /// Failure at this many times the load; 0 if what does not scale with it fails the ply alone.
    pub factor: f64,
    /// The mode that the criterion names.
    pub mode: Mode,
    /// The stress (strain, for maximum strain) nearest to its own strength at failure: `mode` itself
    /// unless that is [`Mode::Interaction`].
    pub leading: Mode,
}

impl Reserve {
    /// Margin of safety: reserve factor less 1.
    pub fn margin(&self) -> f64 {
        self.factor - 1.0
    }
}

/// Reserve factor of a ply: the smallest factor on `scaled` at which `scaled` times it, plus
/// `constant`, fails the ply. `None` if no factor does, as under no stress.
///
/// # Arguments
/// * `lamina` - elastic values, which only maximum strain asks for
/// * `scaled` - stress [1, 2, 12] in ply axes from what the factor multiplies, Pa
/// * `constant` - stress that stays as it is, such as that of cure and temperature, Pa
///
/// # Errors
/// [`LaminateError::MissingStrengths`] with those that the criterion needs for this state of stress;
/// [`LaminateError::OutOfRange`] for a stress, strength or interaction that cannot be one; those of
/// [`Lamina::checked`].
///
/// ```
/// use bondline_engineering::laminate::{Criterion, Lamina, Mode, PlyStrength, reserve};
/// // Invented values.
/// let ply = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 30e-6 };
/// let strength = PlyStrength { xt: Some(1500e6), yt: Some(50e6), s: Some(70e6), ..PlyStrength::default() };
/// let stress = [300e6, 20e6, 35e6];
/// let found = reserve(Criterion::MaximumStress, &ply, &strength, stress, [0.0; 3])?.unwrap();
/// assert_eq!(found.mode, Mode::Shear);
/// assert!((found.margin() - 1.0).abs() < 1e-12);
/// // Compression along the fibres would need Xc.
/// assert!(reserve(Criterion::MaximumStress, &ply, &strength, [-1e6, 0.0, 0.0], [0.0; 3]).is_err());
/// # Ok::<(), bondline_engineering::laminate::LaminateError>(())
/// ```
pub fn reserve(
    criterion: Criterion,
    lamina: &Lamina,
    strength: &PlyStrength,
    scaled: Vector3,
    constant: Vector3,
) -> Result<Option<Reserve>, LaminateError> {
    for value in scaled.iter().chain(&constant) {
        within("a stress", *value, value.abs() <= 1e15, "-1e15 to 1e15", "Pa")?;
    }
    Gauge::new(criterion, lamina, strength)?.reserve(&scaled, &constant)
}
