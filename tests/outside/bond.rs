//! Shear lag beside the differential equations solved by scipy.

use super::{cases, close};
use bondline::laminate::{Adherend, Adhesive, lap_shear, mismatch_shear};
use serde_json::Value;

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|each| each.as_f64().unwrap()).collect()
}

/// Places and shear stresses of a case, and the greatest of the latter.
fn along(case: &Value) -> (Vec<(f64, f64)>, f64) {
    let places: Vec<(f64, f64)> = numbers(&case["places"]).into_iter().zip(numbers(&case["tau"])).collect();
    let most = places.iter().map(|(_, tau)| tau.abs()).fold(0.0, f64::max);
    (places, most)
}

#[test]
fn shear_lag_is_the_solution_of_its_differential_equations() {
    let cases = cases("bond.py");
    for kind in ["mismatch", "lap"] {
        let cases = cases[kind].as_array().unwrap();
        assert_eq!(cases.len(), 24);
        for (at, case) in cases.iter().enumerate() {
            let number = |key: &str| case[key].as_f64().unwrap();
            let s = numbers(&case["s"]);
            let [one, other] = [s[0], s[1]].map(|stiffness| Adherend { stiffness, thickness: 2e-3 });
            let adhesive = Adhesive { g: number("g"), thickness: number("t") };
            let (places, most) = along(case);
            let near = |what: &str, got: f64, expected: f64, size: f64| {
                close(&format!("{what} of {kind} {at}"), got, expected, 1e-4, 1e-4 * size);
            };
            if kind == "mismatch" {
                let bond =
                    mismatch_shear(&one, &other, &adhesive, number("length"), number("strain")).unwrap();
                near("the greatest shear", bond.peak_shear, most, 0.0);
                near("the middle force", bond.middle_force, number("middle"), 0.0);
                for (x, tau) in places {
                    near("the shear", bond.shear_at(x).unwrap(), tau, most);
                }
            } else {
                let joint = lap_shear(&one, &other, &adhesive, number("length"), number("load")).unwrap();
                near("the first end", joint.at_first, places.first().unwrap().1, 0.0);
                near("the second end", joint.at_second, places.last().unwrap().1, 0.0);
                near("the concentration", joint.concentration * joint.mean, most, 0.0);
                for (x, tau) in places {
                    near("the shear", joint.shear_at(x).unwrap(), tau, most);
                }
            }
        }
    }
}
