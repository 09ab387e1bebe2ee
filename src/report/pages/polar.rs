//! Stiffness by direction: a modulus drawn as far from the middle as it is stiff that way.

use super::svg::{Anchor, Axis, Figure, Svg};
use crate::laminate::Compliance;
use crate::report::mass::decimals;

const SIDE: f64 = 460.0;
const HEIGHT: f64 = 420.0;
const RADIUS: f64 = 165.0;
/// Degrees between two points of the curve.
const STEP: u32 = 3;
/// Below this difference, as a share, no direction is said to be the stiffest.
const ALIKE: f64 = 0.005;
/// Degrees between two rows of the table.
const ROW: u32 = 15;

/// Draws Young's modulus in the plane by direction; `None` where it is no number.
pub fn polar(compliance: &Compliance) -> Option<Figure> {
    let at = |degrees: u32| compliance.modulus_along(f64::from(degrees).to_radians()) / 1e9;
    let curve: Vec<(u32, f64)> =
        (0..=360).step_by(STEP as usize).map(|degrees| (degrees, at(degrees))).collect();
    if curve.iter().any(|(_, value)| !value.is_finite() || *value <= 0.0) {
        return None;
    }
    let scale = Axis::over(curve.iter().map(|(_, value)| *value).chain([0.0]), 4, 0.0, RADIUS);
    let middle = (SIDE / 2.0, HEIGHT / 2.0);
    let point = |degrees: f64, r: f64| {
        let (s, c) = degrees.to_radians().sin_cos();
        (middle.0 + r * c, middle.1 - r * s)
    };
    let mut svg = Svg::new(SIDE, HEIGHT);
    for tick in scale.ticks.iter().filter(|tick| **tick > 0.0) {
        svg.circle("grid", middle, scale.px(*tick));
    }
    for degrees in (0..180).step_by(45) {
        let degrees = f64::from(degrees);
        svg.line("grid", point(degrees, -RADIUS), point(degrees, RADIUS));
    }
    for (degrees, word, anchor) in [
        (0.0, "0°, x", Anchor::Start),
        (45.0, "45°", Anchor::Start),
        (90.0, "90°, y", Anchor::Middle),
        (135.0, "135°", Anchor::End),
        (180.0, "180°", Anchor::End),
        (225.0, "−135°", Anchor::End),
        (270.0, "−90°", Anchor::Middle),
        (315.0, "−45°", Anchor::Start),
    ] {
        let (x, y) = point(degrees, RADIUS + 10.0);
        svg.text("faint", (x, y + 4.0), anchor, word);
    }
    let points: Vec<(f64, f64)> =
        curve.iter().map(|(degrees, value)| point(f64::from(*degrees), scale.px(*value))).collect();
    svg.path("line", &points);
    for tick in scale.ticks.iter().filter(|tick| **tick > 0.0) {
        let (x, y) = point(22.5, scale.px(*tick));
        svg.text("faint", (x, y + 4.0), Anchor::Middle, &scale.words(*tick));
    }
    // The first of equals: directions repeat after half a turn.
    let half: Vec<&(u32, f64)> = curve.iter().filter(|(degrees, _)| *degrees < 180).collect();
    let order = |one: &&&(u32, f64), two: &&&(u32, f64)| one.1.total_cmp(&two.1);
    let stiffest = half.iter().rev().max_by(order)?;
    let softest = half.iter().min_by(order)?;
    let words = if stiffest.1 - softest.1 < ALIKE * stiffest.1 {
        format!("about {} in every direction", decimals(stiffest.1, 1))
    } else {
        svg.circle("holds", point(f64::from(stiffest.0), scale.px(stiffest.1)), 4.0);
        svg.circle("hollow", point(f64::from(softest.0), scale.px(softest.1)), 4.0);
        format!(
            "stiffest near {}° with {}, softest near {}° with {} (to {STEP}°)",
            stiffest.0,
            decimals(stiffest.1, 2),
            softest.0,
            decimals(softest.1, 2)
        )
    };
    let caption = format!(
        "Young's modulus in the plane by direction, GPa, the stack free to curve and to shear: {words}."
    );
    let rows =
        (0..180).step_by(ROW as usize).map(|degrees| vec![format!("{degrees}"), decimals(at(degrees), 2)]);
    Some(Figure {
        left: 0,
        svg: svg.finish("Stiffness by direction", &caption),
        caption,
        columns: vec![("direction, °", true), ("E, GPa", true)],
        rows: rows.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laminate::{ElasticLayer, Lamina, stiffness};

    fn compliance(angles: &[f64]) -> Compliance {
        // Invented values.
        let ply = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 30e-6 };
        let layer =
            |degrees: &f64| ElasticLayer { lamina: ply, angle: degrees.to_radians(), thickness: 0.2e-3 };
        stiffness(&angles.iter().map(layer).collect::<Vec<_>>()).unwrap().compliance().unwrap()
    }

    fn value(figure: &Figure, degrees: &str) -> f64 {
        figure.rows.iter().find(|row| row[0] == degrees).unwrap()[1].parse().unwrap()
    }

    #[test]
    fn one_ply_off_its_axis() {
        // R. M. Jones, Mechanics of Composite Materials, equation 2.97 (from memory), by hand:
        // 1/Ex = c4/E1 + (1/G12 - 2 nu12/E1) s2 c2 + s4/E2.
        let own = polar(&compliance(&[0.0])).unwrap();
        for degrees in ["0", "15", "30", "45", "60", "90", "150"] {
            let (s, c) = degrees.parse::<f64>().unwrap().to_radians().sin_cos();
            let by_hand =
                1.0 / (c.powi(4) / 138.0 + (1.0 / 6.9 - 0.6 / 138.0) * (s * c).powi(2) + s.powi(4) / 9.0);
            assert!((value(&own, degrees) - by_hand).abs() <= 0.005 + 1e-9, "{degrees}: {by_hand}");
        }
        assert!(own.caption.contains("stiffest near 0° with 138.00"), "{}", own.caption);
    }

    #[test]
    fn a_quasi_isotropic_stack_is_a_circle() {
        // C. T. Sun and common textbooks: [0/60/-60]s has one modulus in all directions (from memory); its value by
        // hand from U1, U4 of Tsai and Pagano: E = (U1^2 - U4^2)/U1.
        let own = polar(&compliance(&[0.0, 60.0, -60.0, -60.0, 60.0, 0.0])).unwrap();
        let nu21 = 0.3 * 9.0 / 138.0;
        let d = 1.0 - 0.3 * nu21;
        let (q11, q22, q12, q66) = (138.0 / d, 9.0 / d, 0.3 * 9.0 / d, 6.9);
        let u1 = (3.0 * q11 + 3.0 * q22 + 2.0 * q12 + 4.0 * q66) / 8.0;
        let u4 = (q11 + q22 + 6.0 * q12 - 4.0 * q66) / 8.0;
        let by_hand = (u1 * u1 - u4 * u4) / u1;
        for row in &own.rows {
            assert!((row[1].parse::<f64>().unwrap() - by_hand).abs() <= 0.005 + 1e-9, "{row:?}: {by_hand}");
        }
    }

    #[test]
    fn an_unbalanced_stack_leans_to_its_plies() {
        let own = polar(&compliance(&[30.0, 30.0])).unwrap();
        assert!((value(&own, "30") - 138.0).abs() < 0.01);
        assert!((value(&own, "120") - 9.0).abs() < 0.01);
    }
}
