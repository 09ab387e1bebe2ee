//! Learning of contributors beside whitened least squares and ridge regression in numpy.

use super::{cases, close};
use bondline::mass::{Reading, learn};
use serde_json::Value;

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|one| one.as_f64().unwrap()).collect()
}

fn rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

#[test]
fn learning_agrees_with_least_squares_of_numpy() {
    let all = cases("weighings.py");
    let list = all["cases"].as_array().unwrap();
    assert!(list.len() >= 30);
    for case in list {
        let (masses, noise, residuals) =
            (rows(&case["masses"]), rows(&case["noise"]), numbers(&case["residuals"]));
        let readings: Vec<Reading> = masses
            .into_iter()
            .zip(noise)
            .zip(residuals)
            .map(|((masses, covariance), residual)| Reading { residual, masses, covariance })
            .collect();
        let got = learn(&readings, &numbers(&case["priors"])).unwrap();
        for (got, expected) in got.shares.iter().zip(numbers(&case["shares"])) {
            close("share", *got, expected, 1e-8, 1e-10);
        }
        for (got, expected) in got.covariance.iter().flatten().zip(rows(&case["covariance"]).iter().flatten())
        {
            close("covariance", *got, *expected, 1e-8, 1e-11);
        }
        let (kg, deviation) = got.effect(&numbers(&case["fleet"]));
        close("effect", kg, case["effect"].as_f64().unwrap(), 1e-8, 1e-9);
        close("its deviation", deviation, case["deviation"].as_f64().unwrap(), 1e-7, 1e-9);
    }
    for case in all["ridge"].as_array().unwrap() {
        let (masses, residuals) = (rows(&case["masses"]), numbers(&case["residuals"]));
        let (prior, noise) = (case["prior"].as_f64().unwrap(), case["noise"].as_f64().unwrap());
        let readings: Vec<Reading> = masses
            .into_iter()
            .zip(residuals)
            .enumerate()
            .map(|(at, (masses, residual))| {
                let mut covariance = vec![0.0; 8];
                covariance[at] = noise * noise;
                Reading { residual, masses, covariance }
            })
            .collect();
        let got = learn(&readings, &[prior; 4]).unwrap();
        for (got, expected) in got.shares.iter().zip(numbers(&case["shares"])) {
            close("ridge", *got, expected, 1e-8, 1e-10);
        }
    }
}
