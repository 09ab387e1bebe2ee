//! A criterion made ready for one ply: quadratic forms in its stresses, one set for each pair of signs.
//!
//! Every criterion here is, while s1 and s2 keep their signs, a set of forms q(s) that fail at 1. Along
//! a load path from `constant` in the direction `scaled`, each is a parabola, and signs change at most
//! twice; the path is walked piece by piece to the first crossing.

use super::criteria::{Criterion, Mode, PlyStrength, Reserve};
use super::elastic::Lamina;
use super::matrix::{Pair, plus, transposed};
use super::{LaminateError, Matrix3, Vector3, within};

/// q11 s1^2 + 2 q12 s1 s2 + q22 s2^2 + q66 t^2 + l1 s1 + l2 s2, failing at 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Form {
    q11: f64,
    q12: f64,
    q22: f64,
    q66: f64,
    l1: f64,
    l2: f64,
    mode: Mode,
}

impl Form {
    const fn of(mode: Mode) -> Self {
        Self { q11: 0.0, q12: 0.0, q22: 0.0, q66: 0.0, l1: 0.0, l2: 0.0, mode }
    }

    fn quadratic(&self, u: &Vector3, v: &Vector3) -> f64 {
        let ([a, b, c], [x, y, z]) = (*u, *v);
        self.q11 * a * x + self.q12 * (a * y + b * x) + self.q22 * b * y + self.q66 * c * z
    }

    fn linear(&self, u: &Vector3) -> f64 {
        let [a, b, _] = *u;
        self.l1 * a + self.l2 * b
    }

    fn value(&self, s: &Vector3) -> f64 {
        self.quadratic(s, s) + self.linear(s)
    }

    /// The form of strains in laminate axes that this is where stress in ply axes is `to_stress` of them.
    pub fn of_strain(&self, to_stress: &Matrix3) -> StrainForm {
        let [c1, c2, c3] = transposed(to_stress);
        let q = |u, v| self.quadratic(u, v);
        StrainForm {
            quadratic: [
                4.0 * q(&c1, &c1),
                4.0 * q(&c2, &c2),
                4.0 * q(&c3, &c3),
                8.0 * q(&c1, &c2),
                8.0 * q(&c1, &c3),
                8.0 * q(&c2, &c3),
            ],
            linear: [self.linear(&c1), self.linear(&c2), self.linear(&c3)],
        }
    }

    /// The least step along `direction` from `start` to where the form is 1.
    fn crossing(&self, start: &Vector3, direction: &Vector3) -> Option<f64> {
        let room = 1.0 - self.value(start);
        if room <= 0.0 {
            return Some(0.0);
        }
        let a = self.quadratic(direction, direction);
        let b = self.linear(direction) + 2.0 * self.quadratic(start, direction);
        let square = b * b + 4.0 * a * room;
        if square < 0.0 || (a <= 0.0 && b <= 0.0) {
            return None;
        }
        let root = square.sqrt();
        // The two ways to write the root; each is free of cancellation for its sign of b.
        let step = if b > 0.0 { 2.0 * room / (b + root) } else { (root - b) / (2.0 * a) };
        step.is_finite().then_some(step)
    }
}

/// A form in strains [x, y, xy], ready for many stacks: four times the coefficients of x x, y y, g g, x y,
/// x g, y g, as the root asks for them, and those of x, y, g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct StrainForm {
    quadratic: [f64; 6],
    linear: Vector3,
}

/// A strain and the products of its components.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strain {
    products: [Pair; 3],
    own: [Pair; 2],
}

impl Strain {
    #[inline]
    pub fn of([x, y, g]: Vector3) -> Self {
        let own = Pair::new(x, y);
        Self {
            products: [own.times(own), Pair::new(g * g, x * y), own.times(Pair::both(g))],
            own: [own, Pair::new(g, 0.0)],
        }
    }
}

impl StrainForm {
    /// The six quadratic coefficients and the three linear ones.
    pub fn coefficients(&self) -> [f64; 9] {
        let ([a, b, c, d, e, f], [l, m, n]) = (self.quadratic, self.linear);
        [a, b, c, d, e, f, l, m, n]
    }

    /// Two over the factor at which each of two points is 1, from their parts.
    #[inline]
    pub fn inverses((q1, l1): (f64, f64), (q2, l2): (f64, f64)) -> [f64; 2] {
        let (r1, r2) = (l1 * l1 + q1, l2 * l2 + q2);
        [l1 + r1.sqrt(), l2 + r2.sqrt()]
    }

    /// Four times the quadratic part, and the linear one.
    #[inline]
    pub fn parts(&self, strain: &Strain) -> (f64, f64) {
        let ([a, b, c, d, e, f], [l, m, n]) = (self.quadratic, self.linear);
        let ([p, q, r], [x, y]) = (strain.products, strain.own);
        let quadratic =
            Pair::new(a, b).times(p).plus(Pair::new(c, d).times(q)).plus(Pair::new(e, f).times(r));
        let linear = Pair::new(l, m).times(x).plus(Pair::new(n, 0.0).times(y));
        quadratic.sums(linear)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Whole(Criterion),
    /// What is judged of a ply whose matrix has failed.
    FibreAlone,
}

/// A criterion with the strengths of one ply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gauge {
    kind: Kind,
    strength: PlyStrength,
    nu12: f64,
    nu21: f64,
    /// The one form of a criterion without signs, if all its strengths are known and it is an ellipsoid:
    /// then a point outside it lies behind the first crossing.
    closed: Option<Form>,
    /// Where each stress, or modulus times strain, is judged by itself and against a known strength: Xt, Xc, Yt, Yc, S.
    apart: Option<[f64; 5]>,
}

impl Gauge {
    pub fn new(criterion: Criterion, lamina: &Lamina, strength: &PlyStrength) -> Result<Self, LaminateError> {
        if let Criterion::TsaiWu { interaction } = criterion {
            within("the interaction", interaction, interaction.abs() < 1.0, "above -1, below 1", "")?;
        }
        let lamina = lamina.checked()?;
        let strength = strength.checked()?;
        let kind = Kind::Whole(criterion);
        let mut gauge =
            Self { kind, strength, nu12: lamina.nu12, nu21: lamina.nu21(), closed: None, apart: None };
        let signless = match criterion {
            Criterion::TsaiWu { .. } | Criterion::TsaiHill { by_sign: false } => true,
            Criterion::TsaiHill { by_sign: true } | Criterion::MaximumStress => false,
            Criterion::MaximumStrain | Criterion::Hashin => false,
        };
        if signless && let Ok([Some(form), ..]) = gauge.forms(1.0, 1.0, true) {
            gauge.closed = (form.q11 * form.q22 > form.q12 * form.q12).then_some(form);
        }
        if let (Criterion::MaximumStress | Criterion::MaximumStrain, PlyStrength { xt, xc, yt, yc, s, .. }) =
            (criterion, strength)
        {
            gauge.apart =
                xt.zip(xc).zip(yt.zip(yc)).zip(s).map(|(((xt, xc), (yt, yc)), s)| [xt, xc, yt, yc, s]);
        }
        Ok(gauge)
    }

    /// The same ply once its matrix has failed: fibre stress alone is judged, by maximum stress.
    pub fn of_fibre(&self) -> Self {
        Self { kind: Kind::FibreAlone, closed: None, apart: None, ..*self }
    }

    pub fn closed(&self) -> Option<&Form> {
        self.closed.as_ref()
    }

    /// Whether the ply may fail below this factor; never says no wrongly.
    pub fn may_fail_below(&self, factor: f64, scaled: &Vector3, constant: &Vector3) -> bool {
        // All grow together from nothing: what holds at the factor held all the way.
        if let (Some([xt, xc, yt, yc, s]), [0.0, 0.0, 0.0]) = (self.apart, constant) {
            let [s1, s2, t] = self.measured(scaled).map(|own| own * factor);
            let holds = (-xc..=xt).contains(&s1) && (-yc..=yt).contains(&s2) && t.abs() <= s;
            return !holds;
        }
        self.closed.is_none_or(|form| {
            form.value(&plus(constant, factor, scaled)) > 1.0
                || (*constant != [0.0; 3] && form.value(constant) >= 1.0)
        })
    }

    /// The reserve by the one closed form, without a constant part.
    #[inline]
    pub fn closed_reserve(&self, scaled: &Vector3) -> Option<Reserve> {
        let form = self.closed.as_ref()?;
        let factor = form.crossing(&[0.0; 3], scaled)?;
        // All stresses grow together: the nearest to its strength is so at every factor.
        Some(Reserve { factor, mode: form.mode, leading: self.leading(scaled) })
    }

    pub fn reserve(&self, scaled: &Vector3, constant: &Vector3) -> Result<Option<Reserve>, LaminateError> {
        // One form for the whole way: no signs to follow, no strengths to miss.
        if let (Some(_), [0.0, 0.0, 0.0]) = (&self.closed, constant) {
            return Ok(self.closed_reserve(scaled));
        }
        let (scaled, constant) = without_dust(&self.measured(scaled), &self.measured(constant));
        let mut begin = 0.0;
        let turns = turns(&scaled, &constant);
        for end in turns.into_iter().chain([f64::INFINITY]) {
            if end <= begin {
                continue;
            }
            let inside = if end.is_finite() { (begin + end) / 2.0 } else { 2.0 * begin + 1.0 };
            let [s1, s2, t] = plus(&constant, inside, &scaled);
            let start = plus(&constant, begin, &scaled);
            let mut first: Option<Reserve> = None;
            for form in self.forms(s1, s2, t != 0.0)?.iter().flatten() {
                let Some(step) = form.crossing(&start, &scaled) else { continue };
                let factor = begin + step;
                if factor <= end && first.is_none_or(|known| factor < known.factor) {
                    first = Some(Reserve { factor, mode: form.mode, leading: form.mode });
                }
            }
            if let Some(mut found) = first.filter(|found| found.factor.is_finite()) {
                if found.mode == Mode::Interaction {
                    found.leading = self.leading(&plus(&constant, found.factor, &scaled));
                }
                return Ok(Some(found));
            }
            begin = end;
        }
        Ok(None)
    }

    /// What the criterion looks at, in stresses: for maximum strain modulus times strain, whose limits
    /// are then the strengths.
    fn measured(&self, stress: &Vector3) -> Vector3 {
        let [s1, s2, t] = *stress;
        match self.kind {
            Kind::Whole(Criterion::MaximumStrain) => [s1 - self.nu12 * s2, s2 - self.nu21 * s1, t],
            Kind::Whole(_) | Kind::FibreAlone => *stress,
        }
    }

    /// The forms while s1 and s2 have the signs of these; `sheared` if there is shear at all.
    fn forms(&self, s1: f64, s2: f64, sheared: bool) -> Result<[Option<Form>; 3], LaminateError> {
        let mut need = Need { of: self.kind, missing: Vec::new() };
        let PlyStrength { xt, xc, yt, yc, s, s23 } = self.strength;
        let along = match s1 {
            _ if s1 > 0.0 => Some((Mode::FibreTension, "Xt", xt)),
            _ if s1 < 0.0 => Some((Mode::FibreCompression, "Xc", xc)),
            _ => None,
        };
        let across = match s2 {
            _ if s2 > 0.0 => Some((Mode::MatrixTension, "Yt", yt)),
            _ if s2 < 0.0 => Some((Mode::MatrixCompression, "Yc", yc)),
            _ => None,
        };
        let none = Form::of(Mode::Interaction);
        let forms = match self.kind {
            Kind::FibreAlone => {
                let fibre = along.map(|(mode, name, x)| Form { q11: need.square(name, x), ..Form::of(mode) });
                [fibre, None, None]
            }
            Kind::Whole(Criterion::MaximumStress | Criterion::MaximumStrain) => [
                along.map(|(mode, name, x)| Form { q11: need.square(name, x), ..Form::of(mode) }),
                across.map(|(mode, name, y)| Form { q22: need.square(name, y), ..Form::of(mode) }),
                sheared.then(|| Form { q66: need.square("S", s), ..Form::of(Mode::Shear) }),
            ],
            Kind::Whole(Criterion::TsaiHill { by_sign }) => {
                let pick = |sided: Option<(Mode, &'static str, Option<f64>)>, tension| {
                    sided.map(|(_, name, value)| if by_sign { (name, value) } else { tension })
                };
                let q11 = pick(along, ("Xt", xt)).map_or(0.0, |(name, x)| need.square(name, x));
                let q22 = pick(across, ("Yt", yt)).map_or(0.0, |(name, y)| need.square(name, y));
                let q66 = if sheared { need.square("S", s) } else { 0.0 };
                [Some(Form { q11, q12: -q11 / 2.0, q22, q66, ..none }), None, None]
            }
            Kind::Whole(Criterion::TsaiWu { interaction }) => {
                let (mut form, half) = (none, interaction);
                if along.is_some() {
                    let (t, c) = (need.inverse("Xt", xt), need.inverse("Xc", xc));
                    (form.l1, form.q11) = (t - c, t * c);
                }
                if across.is_some() {
                    let (t, c) = (need.inverse("Yt", yt), need.inverse("Yc", yc));
                    (form.l2, form.q22) = (t - c, t * c);
                }
                form.q12 = half * (form.q11 * form.q22).sqrt();
                form.q66 = if sheared { need.square("S", s) } else { 0.0 };
                [Some(form), None, None]
            }
            Kind::Whole(Criterion::Hashin) => {
                let q66 = if sheared { need.square("S", s) } else { 0.0 };
                let matrix = match across {
                    Some((mode @ Mode::MatrixCompression, name, y)) => {
                        let y = need.inverse(name, y);
                        let shear = s23.map_or(y, |s23| 0.5 / s23);
                        // (Yc / 2 S23)^2 - 1, over Yc; nothing of it is left for the usual S23.
                        let l2 = if y > 0.0 { shear * shear / y - y } else { 0.0 };
                        Some(Form { q22: shear * shear, l2, q66, ..Form::of(mode) })
                    }
                    Some((mode, name, y)) => Some(Form { q22: need.square(name, y), q66, ..Form::of(mode) }),
                    None => sheared.then(|| Form { q66, ..Form::of(Mode::MatrixTension) }),
                };
                let fibre = along.map(|(mode, name, x)| {
                    let q66 = if mode == Mode::FibreTension { q66 } else { 0.0 };
                    Form { q11: need.square(name, x), q66, ..Form::of(mode) }
                });
                // The matrix first: it keeps the name where both are of shear alone.
                [matrix, fibre, None]
            }
        };
        need.answer(forms)
    }

    /// The stress nearest to its own strength.
    fn leading(&self, stress: &Vector3) -> Mode {
        let [s1, s2, t] = *stress;
        let PlyStrength { xt, xc, yt, yc, s, .. } = self.strength;
        let along = if s1 >= 0.0 { (Mode::FibreTension, xt) } else { (Mode::FibreCompression, xc.or(xt)) };
        let across = if s2 >= 0.0 { (Mode::MatrixTension, yt) } else { (Mode::MatrixCompression, yc.or(yt)) };
        let shear = (Mode::Shear, s);
        let mut most = (Mode::Interaction, 0.0);
        for ((mode, strength), stress) in [(across, s2), (shear, t), (along, s1)] {
            let share = strength.map_or(0.0, |strength| stress.abs() / strength);
            if share > most.1 {
                most = (mode, share);
            }
        }
        most.0
    }
}

/// Gathers the strengths that are missing.
struct Need {
    of: Kind,
    missing: Vec<&'static str>,
}

impl Need {
    fn inverse(&mut self, name: &'static str, value: Option<f64>) -> f64 {
        value.map_or_else(
            || {
                self.missing.push(name);
                0.0
            },
            |value| 1.0 / value,
        )
    }

    fn square(&mut self, name: &'static str, value: Option<f64>) -> f64 {
        let inverse = self.inverse(name, value);
        inverse * inverse
    }

    fn answer<T>(self, forms: T) -> Result<T, LaminateError> {
        if self.missing.is_empty() {
            return Ok(forms);
        }
        let criterion = match self.of {
            Kind::Whole(criterion) => criterion.name(),
            Kind::FibreAlone => "the fibre stress of a ply whose matrix has failed",
        };
        Err(LaminateError::MissingStrengths { criterion, missing: self.missing })
    }
}

/// Stresses that only rounding left are taken for none, or they would ask for strengths of their own.
fn without_dust(scaled: &Vector3, constant: &Vector3) -> (Vector3, Vector3) {
    let size = |v: &Vector3| v.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    let clean = |v: &Vector3, dust: f64| v.map(|value| if value.abs() <= dust { 0.0 } else { value });
    let (of_scaled, of_constant) = (size(scaled), size(constant));
    (clean(scaled, DUST * of_scaled), clean(constant, DUST * of_scaled.max(of_constant)))
}

const DUST: f64 = 1e-13;

/// The factors, in order, at which s1 and s2 change their signs; 0 for none.
fn turns(scaled: &Vector3, constant: &Vector3) -> [f64; 2] {
    let turn = |m: f64, c: f64| {
        let at = -c / m;
        if m != 0.0 && at.is_finite() && at > 0.0 { at } else { 0.0 }
    };
    let ([m1, m2, _], [c1, c2, _]) = (*scaled, *constant);
    let (one, two) = (turn(m1, c1), turn(m2, c2));
    if one <= two { [one, two] } else { [two, one] }
}
