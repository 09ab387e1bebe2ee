//! Laminates beside numpy and scipy: the tensor turned, integrated through the thickness, inverted; reserves
//! searched on the failure index.

use super::{cases, close};
use bondline::laminate::{
    Criterion, ElasticLayer, JudgedLayer, Lamina, LaminateError, Load, Matrix3, PlyStrength, Vector3,
    first_ply, is_symmetric, recover_under, stiffness,
};
use serde_json::Value;

/// Integration and inversion there, elimination here: what is left of sixteen digits on thick, soft cores.
const TOLERANCE: f64 = 1e-6;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn vector(value: &Value) -> Vector3 {
    [number(&value[0]), number(&value[1]), number(&value[2])]
}

fn matrix(value: &Value) -> Matrix3 {
    [vector(&value[0]), vector(&value[1]), vector(&value[2])]
}

/// Each entry within the tolerance, or within that share of the largest one for entries near 0.
fn all_close(what: &str, got: &[f64], expected: &[f64], size: f64) {
    assert_eq!(got.len(), expected.len(), "{what}");
    for (g, e) in got.iter().zip(expected) {
        close(what, *g, *e, TOLERANCE, 1e-9 * size);
    }
}

fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |most, value| most.max(value.abs()))
}

fn layer(value: &Value) -> JudgedLayer {
    let own = &value["strength"];
    let strength = own.is_object().then(|| PlyStrength {
        xt: own["xt"].as_f64(),
        xc: own["xc"].as_f64(),
        yt: own["yt"].as_f64(),
        yc: own["yc"].as_f64(),
        s: own["s"].as_f64(),
        s23: own["s23"].as_f64(),
    });
    let lamina = Lamina {
        e1: number(&value["e1"]),
        e2: number(&value["e2"]),
        g12: number(&value["g12"]),
        nu12: number(&value["nu12"]),
        cte1: number(&value["cte1"]),
        cte2: number(&value["cte2"]),
    };
    JudgedLayer { lamina, angle: number(&value["angle"]), thickness: number(&value["thickness"]), strength }
}

#[test]
fn laminates_are_those_of_numpy() {
    let cases = cases("laminate.py");
    let cases = cases.as_array().unwrap();
    assert_eq!(cases.len(), 120);
    let mut judged = 0;
    for (at, case) in cases.iter().enumerate() {
        let what = |part: &str| format!("{part} of case {at} ({})", case["kind"]);
        let layers: Vec<JudgedLayer> = case["layers"].as_array().unwrap().iter().map(layer).collect();
        let elastic: Vec<ElasticLayer> = layers.iter().map(JudgedLayer::elastic).collect();
        let load = Load {
            force: vector(&case["load"]["force"]),
            moment: vector(&case["load"]["moment"]),
            temperature: number(&case["load"]["temperature"]),
        };
        let stiff = stiffness(&elastic).unwrap();
        let whole = stiff.compliance().unwrap();
        let h = stiff.thickness;
        close(&what("thickness"), h, number(&case["thickness"]), TOLERANCE, 0.0);
        let strong = largest(stiff.a.as_flattened());
        for (name, got, size) in [
            ("a", stiff.a, strong),
            ("b", stiff.b, strong * h),
            ("d", stiff.d, strong * h * h),
            ("alpha", whole.alpha, largest(whole.alpha.as_flattened())),
            ("beta", whole.beta, largest(whole.alpha.as_flattened()) / h),
            ("delta", whole.delta, largest(whole.delta.as_flattened())),
        ] {
            all_close(&what(name), got.as_flattened(), matrix(&case[name]).as_flattened(), size);
        }
        let force = largest(&stiff.thermal_force);
        let expansion = largest(&whole.expansion);
        for (name, got, size) in [
            ("thermal_force", stiff.thermal_force, force),
            ("thermal_moment", stiff.thermal_moment, force * h),
            ("expansion", whole.expansion, expansion),
            ("curvature", whole.curvature, expansion / h),
        ] {
            all_close(&what(name), &got, &vector(&case[name]), size);
        }
        assert_eq!(is_symmetric(&elastic).unwrap(), case["kind"] == "symmetric" || layers.len() == 1, "{at}");
        let states = recover_under(&elastic, &load).unwrap();
        let stresses = case["stresses"].as_array().unwrap();
        assert_eq!(states.len(), stresses.len());
        let most = states.iter().map(|state| largest(&state.ply_stress)).fold(0.0, f64::max);
        for (state, stress) in states.iter().zip(stresses) {
            all_close(&what("stress"), &state.ply_stress, &vector(stress), most);
        }
        for criterion in [
            Criterion::MaximumStress,
            Criterion::MaximumStrain,
            Criterion::TSAI_HILL,
            Criterion::TsaiHill { by_sign: false },
            Criterion::TsaiWu { interaction: number(&case["interaction"]) },
            Criterion::Hashin,
        ] {
            let expected = &case["factors"][criterion.name()];
            match first_ply(&layers, &load, criterion) {
                Ok(got) => {
                    close(&what(criterion.name()), got.factor, number(expected), TOLERANCE, 1e-12);
                    judged += usize::from(got.factor > 0.0);
                }
                Err(fault) => {
                    assert_eq!(fault, LaminateError::NoFailure);
                    assert!(expected.is_null(), "{} {expected}", what(criterion.name()));
                }
            }
        }
    }
    // Most cases are not failed by cure alone, or nothing would have been compared.
    assert!(judged > 500, "{judged}");
}
