//! Sections beside finite elements in their warping, by numpy.

use super::{cases, close};
use bondline::laminate::{Section, SectionError, SectionLoad, Wall, WallKind};
use serde_json::Value;

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    let list: Vec<f64> = value.as_array().unwrap().iter().map(|each| each.as_f64().unwrap()).collect();
    list.try_into().unwrap()
}

fn wall(value: &Value) -> Wall {
    let number = |key: &str| value[key].as_f64().unwrap();
    let (from, to) = (value["from"].as_u64().unwrap() as usize, value["to"].as_u64().unwrap() as usize);
    let kind = if value["bond"].is_number() {
        WallKind::Bond { width: number("width"), thickness: number("bond"), g: number("g") }
    } else {
        WallKind::Plate {
            axial: number("axial"),
            bend: number("bend"),
            shear: number("shear"),
            twist: number("twist"),
            thickness: number("thickness"),
        }
    };
    Wall::new(from, to, kind)
}

#[test]
fn sections_are_those_of_finite_elements_in_warping() {
    let cases = cases("section.py");
    let cases = cases.as_array().unwrap();
    assert_eq!(cases.len(), 36);
    for (at, case) in cases.iter().enumerate() {
        let number = |key: &str| case[key].as_f64().unwrap();
        let nodes: Vec<[f64; 2]> = case["nodes"].as_array().unwrap().iter().map(numbers).collect();
        let walls: Vec<Wall> = case["walls"].as_array().unwrap().iter().map(wall).collect();
        let section = Section::new(&nodes, &walls).unwrap();
        let near = |what: &str, got: f64, expected: f64, size: f64| {
            close(&format!("{what} of section {at}"), got, expected, 1e-6, 1e-6 * size);
        };
        let r = section.rigidity();
        near("EA", r.ea, number("ea"), 0.0);
        for (got, expected) in r.centroid.into_iter().zip(numbers::<2>(&case["centroid"])) {
            near("the centroid", got, expected, 1e-3);
        }
        let [least, most] = numbers(&case["principal"]);
        for (got, expected) in [
            (r.ei_y, number("ei_y")),
            (r.ei_z, number("ei_z")),
            (r.ei_yz, number("ei_yz")),
            (r.ei_min, least),
            (r.ei_max, most),
        ] {
            near("EI", got, expected, least);
        }
        let [y, z] = numbers(&case["stiff_axis"]);
        near("the stiff axis", (r.angle.cos() * y + r.angle.sin() * z).abs(), 1.0, 0.0);
        near("the walls' twisting", section.torsion().walls, number("own"), 0.0);
        if case["closed"].as_bool().unwrap() {
            near("GJ of the cells", section.closed_gj().unwrap(), number("cells"), 0.0);
        } else {
            assert!(matches!(section.closed_gj(), Err(SectionError::Open { end: Some(_) })));
        }
        for (got, expected) in section.shear_centre().unwrap().into_iter().zip(numbers::<2>(&case["centre"]))
        {
            near("the shear centre", got, expected, 1e-2);
        }
        let [n, my, mz, vy, vz, torque] = numbers(&case["load"]);
        let load = SectionLoad { n, my, mz, vy, vz, torque, at: Some(numbers(&case["point"])) };
        let under = section.under(&load).unwrap();
        near("the torque", under.torque, number("about"), 1.0);
        near("the rate of twist", under.rate_of_twist, number("rate"), 0.0);
        let states = case["states"].as_array().unwrap();
        let peak = |state: &Value| state["peak"].as_f64().unwrap();
        let size = states.iter().map(|state| peak(state).abs()).fold(0.0, f64::max);
        for (got, state) in under.walls.iter().zip(states) {
            for (flow, expected) in got.flow.into_iter().zip(numbers::<2>(&state["flow"])) {
                near("a flow", flow, expected, size);
            }
            // There the greatest is that of 20 001 points.
            near("the greatest flow", got.peak_flow.abs(), peak(state).abs(), size);
            match got.axial {
                Some(axial) => {
                    for (strain, expected) in axial.strain.into_iter().zip(numbers::<2>(&state["strain"])) {
                        near("a strain", strain, expected, 1e-4);
                    }
                    near(
                        "the surface strain",
                        axial.surface_strain,
                        state["surface"].as_f64().unwrap(),
                        1e-4,
                    );
                }
                None => assert!(state["strain"].is_null()),
            }
        }
    }
}
