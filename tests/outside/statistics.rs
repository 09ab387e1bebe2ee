//! Statistics beside scipy.

use super::{cases, close};
use bondline::statistics::tolerance_factor;

#[test]
fn tolerance_factors_are_those_of_the_noncentral_t_in_scipy() {
    let cases = cases("statistics.py");
    let cases = cases.as_array().unwrap();
    assert_eq!(cases.len(), 20);
    for case in cases {
        let (n, content) = (case["n"].as_u64().unwrap(), case["content"].as_f64().unwrap());
        let got = tolerance_factor(n as usize, content, 0.95).unwrap();
        close(&format!("k of {n} at {content}"), got, case["factor"].as_f64().unwrap(), 1e-6, 0.0);
    }
}
