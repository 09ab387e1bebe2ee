//! Plates beside finite elements and collocation in scipy, sandwiches beside quadrature.

use super::{cases, close};
use bondline::laminate::plate::{Plate, Support, buckling, pressure};
use bondline::laminate::sandwich::allowable::{
    HONEYCOMB_IDEAL, SOLID_IDEAL, wrinkling_honeycomb, wrinkling_solid,
};
use bondline::laminate::sandwich::{Beam, Core, Face, Sandwich, beam_deflection};
use serde_json::Value;

fn number(of: &Value) -> f64 {
    of.as_f64().unwrap()
}

fn numbers<const N: usize>(of: &Value) -> [f64; N] {
    std::array::from_fn(|index| number(&of[index]))
}

fn plate(case: &Value) -> Plate {
    let bending = std::array::from_fn(|row| numbers(&case["bending"][row]));
    let shear = case["shear"].as_array().map(|_| numbers(&case["shear"]));
    let support = if case["clamped"] == true { Support::Clamped } else { Support::SimplySupported };
    Plate::new(numbers(&case["sides"]), bending, shear, support).unwrap()
}

/// Deflection and factor within `tight`, moments within `wide` of the greatest moment.
fn compare(name: &str, case: &Value, tight: f64, wide: f64) {
    let plate = plate(case);
    let it = pressure(&plate, 1.0).unwrap();
    close(&format!("deflection, {name}"), it.deflection, number(&case["deflection"]), tight, 0.0);
    let (centre, edges) = (numbers::<3>(&case["centre"]), numbers::<2>(&case["edges"]));
    let scale = centre.iter().chain(&edges).fold(0.0_f64, |most, moment| most.max(moment.abs()));
    for (got, expected) in it.centre.iter().zip(centre).chain(it.edge_moments.iter().zip(edges)) {
        close(&format!("moment, {name}"), *got, expected, 0.0, wide * scale);
    }
    if let Some(forces) = case.get("forces").map(numbers::<2>) {
        let scale = forces[0].abs().max(forces[1].abs());
        for (got, expected) in it.edge_shears.iter().zip(forces) {
            close(&format!("edge force, {name}"), *got, expected, 0.0, 5e-3 * scale);
        }
    }
    let it = buckling(&plate, numbers(&case["load"])).unwrap().unwrap();
    close(&format!("factor, {name}"), it.factor, number(&case["factor"]), tight, 0.0);
}

#[test]
fn plates_bend_and_buckle_as_in_scipy() {
    let cases = cases("plate.py");
    let (thin, sheared) = (cases["thin"].as_array().unwrap(), cases["sheared"].as_array().unwrap());
    assert!(thin.len() == 24 && sheared.len() == 20);
    for (index, case) in thin.iter().enumerate() {
        compare(&format!("thin plate {index}"), case, 5e-4, 3e-3);
    }
    for (index, case) in sheared.iter().enumerate() {
        compare(&format!("plate with shear {index}"), case, 1e-3, 5e-3);
    }
    let sandwiches = cases["sandwich"].as_array().unwrap();
    assert_eq!(sandwiches.len(), 20);
    sandwiches.iter().for_each(sandwich);
}

fn sandwich(case: &Value) {
    let at = |name: &str| number(&case[name]);
    let (e, t) = (numbers::<2>(&case["e"]), numbers::<2>(&case["t"]));
    let face = |side: usize| Face { modulus: e[side], poisson: 0.3, thickness: t[side] };
    let core = Core {
        thickness: at("tc"),
        modulus: at("ec"),
        modulus_through: at("through"),
        shear_modulus: at("g"),
    };
    let it = Sandwich::new([face(0), face(1)], core).unwrap();
    close("neutral axis", it.neutral_axis(), at("axis"), 1e-9, 0.0);
    close("bending stiffness", it.bending_stiffness(), at("bending"), 1e-9, 0.0);
    close("core shear", it.core_shear(1.0).unwrap().greatest, at("flow"), 1e-6, 0.0);
    let (span, force) = (at("span"), at("force"));
    for (beam, name) in [
        (Beam::ThreePoint(force), "three_point"),
        (Beam::Uniform(force), "uniform"),
        (Beam::Cantilever(force), "cantilever"),
    ] {
        let got = beam_deflection(beam, span, it.bending_stiffness(), it.shear_stiffness()).unwrap();
        let [bending, shear] = numbers(&case["deflections"][name]);
        close(name, got.bending, bending, 1e-7, 0.0);
        close(name, got.shear, shear, 1e-7, 0.0);
    }
    // The constants of a perfect face are rounded to two digits: 0.9086 and 0.8165 by the energy.
    let solid = wrinkling_solid(e[0], at("through"), at("g"), SOLID_IDEAL).unwrap();
    close("wrinkling, solid", solid, at("solid"), 2e-3, 0.0);
    let comb = wrinkling_honeycomb(e[0], t[0], at("through"), at("tc"), HONEYCOMB_IDEAL).unwrap();
    close("wrinkling, honeycomb", comb, at("honeycomb"), 5e-3, 0.0);
}
