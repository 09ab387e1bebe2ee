//! Plates beside finite elements: Debian's calculix-ccx, 12 by 12 elements with mid-side nodes.
//!
//! Laminates are layered shells (S8R, composite), which the solver turns into one brick through the
//! thickness with points in every layer. A sandwich cannot be had so: one brick shears its faces and
//! its core alike and comes out twice too stiff. It is modelled in bricks (C3D20R), one for each ply and
//! two for the core.
//!
//! Supports: deflection is held on all edges. `hard` also holds the rotation along the edge, as
//! Bondline's plates do; without it (soft) a plate whose twist is coupled deflects up to 2 % more. In its
//! plane a plate is held at the centre only, so that forces at the edges make an even stress. Clamped
//! shells: the solver stiffens nodes whose rotation is held over half an element, which leaves 0.9 % on this
//! mesh, 0.55 % on one of 20 by 20.
//!
//! Each comparison states its tolerance. Plies and core are invented.

use super::close;
use bondline::laminate::plate::{Plate, Support, buckling, pressure, reduced_bending};
use bondline::laminate::{ElasticLayer, Lamina, Matrix3, stiffness};
use std::fmt::Write as _;
use std::process::Command;

/// Elements along each side.
const MESH: usize = 12;
const SPAN: usize = 2 * MESH + 1;

/// A plate of layers.
#[derive(Clone, Copy)]
struct Model<'a> {
    /// Side lengths, m.
    sides: [f64; 2],
    support: Support,
    stack: &'a [Ply],
}

/// A layer from the tool face upward: which material, angle in degrees, thickness in m.
type Ply = (&'static str, f64, f64);

const CARBON: Lamina = Lamina { e1: 135e9, e2: 9e9, g12: 5e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
/// Shear modulus of the ply through its thickness, Pa: along and across the fibres.
const CARBON_THROUGH: [f64; 2] = [5e9, 3.2e9];
/// Shear moduli of the core, Pa.
const CORE_THROUGH: [f64; 2] = [40e6, 25e6];
/// The core in its plane: next to nothing.
const CORE: Lamina = Lamina { e1: 1e6, e2: 1e6, g12: 0.3e6, nu12: 0.3, cte1: 0.0, cte2: 0.0 };

const MATERIALS: &str = "\
*MATERIAL,NAME=CARBON
*ELASTIC,TYPE=ENGINEERING CONSTANTS
135e9,9e9,9e9,0.3,0.3,0.4,5e9,5e9,
3.2e9,293
*MATERIAL,NAME=CORE
*ELASTIC,TYPE=ENGINEERING CONSTANTS
1e6,1e6,150e6,0.3,0.0,0.0,0.3e6,40e6,
25e6,293
";

#[derive(Clone, Copy)]
enum Case {
    /// 1 kPa.
    Pressure,
    /// Forces along the edges, N/m: Nx, Nxy.
    Buckle(f64, f64),
}

/// What the solver answers to a deck: deflection in the centre, m, or buckling factor.
fn solve(deck: &str, case: Case) -> f64 {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plate.inp"), deck).unwrap();
    let output = Command::new("ccx")
        .arg("plate")
        .current_dir(folder.path())
        .env("OMP_NUM_THREADS", "1")
        .output()
        .unwrap_or_else(|error| panic!("ccx could not be run ({error}): run tests/run, which installs it"));
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    let answers = std::fs::read_to_string(folder.path().join("plate.dat")).unwrap_or_default();
    let number = |line: &str, column: usize| line.split_whitespace().nth(column)?.parse::<f64>().ok();
    let mut lines = answers.lines().skip_while(|line| match case {
        Case::Pressure => !line.contains("displacements"),
        Case::Buckle(..) => !line.contains("BUCKLING") && !line.contains("B U C K L I N G"),
    });
    lines.next();
    let column = if matches!(case, Case::Pressure) { 3 } else { 1 };
    lines
        .filter(|line| line.split_whitespace().all(|word| word.parse::<f64>().is_ok()))
        .find_map(|line| number(line, column))
        .unwrap_or_else(|| panic!("ccx gave no answer\n{told}\n{answers}"))
}

fn node(i: usize, j: usize) -> usize {
    i * SPAN + j + 1
}

fn shells(of: &Model, case: Case, hard: bool) -> String {
    let Model { sides, support, stack } = *of;
    let mut text = String::from("*NODE,NSET=ALL\n");
    let last = SPAN - 1;
    for i in 0..SPAN {
        for j in (0..SPAN).filter(|j| i % 2 == 0 || j % 2 == 0) {
            let (x, y) = (sides[0] * i as f64 / last as f64, sides[1] * j as f64 / last as f64);
            writeln!(text, "{},{x:.9},{y:.9},0", node(i, j)).unwrap();
        }
    }
    text += "*ELEMENT,TYPE=S8R,ELSET=PLATE\n";
    for ex in 0..MESH {
        for ey in 0..MESH {
            let at = |di: usize, dj: usize| node(2 * ex + di, 2 * ey + dj);
            let (number, corners) = (ex * MESH + ey + 1, [at(0, 0), at(2, 0), at(2, 2), at(0, 2)]);
            let [a, b, c, d] = corners;
            writeln!(text, "{number},{a},{b},{c},{d},{},{},{},{}", at(1, 0), at(2, 1), at(1, 2), at(0, 1))
                .unwrap();
        }
    }
    for (name, edges) in [("XEDGE", true), ("YEDGE", false)] {
        writeln!(text, "*NSET,NSET={name}").unwrap();
        for k in 0..SPAN {
            let (one, other) = if edges { (node(0, k), node(last, k)) } else { (node(k, 0), node(k, last)) };
            writeln!(text, "{one},{other}").unwrap();
        }
    }
    let centre = node(MESH, MESH);
    writeln!(text, "*NSET,NSET=CENTRE\n{centre}").unwrap();
    text += &materials(stack);
    text += "*SHELL SECTION,COMPOSITE,ELSET=PLATE\n";
    for (index, (material, _, thickness)) in stack.iter().enumerate() {
        writeln!(text, "{thickness:.9},,{material},O{index}").unwrap();
    }
    text += "*BOUNDARY\nXEDGE,3,3\nYEDGE,3,3\n";
    if support == Support::Clamped {
        text += "XEDGE,4,5\nYEDGE,4,5\n";
    } else if hard {
        text += "XEDGE,4,4\nYEDGE,5,5\n";
    }
    // Three holds in the plane, at the centre and beside it.
    writeln!(text, "{centre},1,2\n{},2,2", node(MESH + 2, MESH)).unwrap();
    match case {
        Case::Pressure => {
            text += "*STEP\n*STATIC\n*DLOAD\nPLATE,P,1000\n*NODE PRINT,NSET=CENTRE\nU\n*END STEP\n"
        }
        Case::Buckle(nx, nxy) => {
            text += "*STEP\n*BUCKLE\n1,1e-4\n*CLOAD\n";
            // Shares of a quadratic edge: 1/6, 4/6, 1/6 of the force on each element's side.
            let share = |k: usize| match (k % 2, k == 0 || k == last) {
                (1, _) => 4.0 / 6.0,
                (_, true) => 1.0 / 6.0,
                _ => 2.0 / 6.0,
            };
            let mut forces = vec![[0.0; 2]; SPAN * SPAN + 1];
            for k in 0..SPAN {
                let on_x = share(k) * sides[1] / MESH as f64;
                let on_y = share(k) * sides[0] / MESH as f64;
                for (i, sign) in [(0, -1.0), (last, 1.0)] {
                    forces[node(i, k)][0] += sign * nx * on_x;
                    forces[node(i, k)][1] += sign * nxy * on_x;
                    forces[node(k, i)][0] += sign * nxy * on_y;
                }
            }
            for (number, force) in forces.iter().enumerate() {
                for (direction, value) in force.iter().enumerate().filter(|(_, value)| **value != 0.0) {
                    writeln!(text, "{number},{},{value:.9e}", direction + 1).unwrap();
                }
            }
            text += "*END STEP\n";
        }
    }
    text
}

/// The materials, and an orientation for each layer.
fn materials(stack: &[Ply]) -> String {
    let mut text = MATERIALS.to_owned();
    for (index, (_, angle, _)) in stack.iter().enumerate() {
        let (s, c) = angle.to_radians().sin_cos();
        writeln!(
            text,
            "*ORIENTATION,NAME=O{index},SYSTEM=RECTANGULAR\n{c:.12},{s:.12},0,{:.12},{c:.12},0",
            -s
        )
        .unwrap();
    }
    text
}

/// A sandwich in bricks: rows of elements upward, the core in two.
fn bricks(of: &Model, case: Case) -> String {
    let Model { sides, support, stack } = *of;
    let rows: Vec<(usize, f64)> = stack
        .iter()
        .enumerate()
        .flat_map(|(layer, ply)| {
            let count = if ply.0 == "CORE" { 2 } else { 1 };
            (0..count).map(move |_| (layer, ply.2 / f64::from(count)))
        })
        .collect();
    let levels = 2 * rows.len() + 1;
    let middle = rows.len();
    let at = |i: usize, j: usize, k: usize| (i * SPAN + j) * levels + k + 1;
    let is_there = |i: usize, j: usize, k: usize| i % 2 + j % 2 + k % 2 <= 1;
    let last = SPAN - 1;
    let mut text = String::from("*NODE,NSET=ALL\n");
    for i in 0..SPAN {
        for j in 0..SPAN {
            let mut z = 0.0;
            for k in 0..levels {
                if is_there(i, j, k) {
                    let (x, y) = (sides[0] * i as f64 / last as f64, sides[1] * j as f64 / last as f64);
                    writeln!(text, "{},{x:.9},{y:.9},{z:.9}", at(i, j, k)).unwrap();
                }
                z += rows.get(k / 2).map_or(0.0, |row| row.1 / 2.0);
            }
        }
    }
    let number = |ex: usize, ey: usize, row: usize| (row * MESH + ex) * MESH + ey + 1;
    for (row, (layer, _)) in rows.iter().enumerate() {
        writeln!(text, "*ELEMENT,TYPE=C3D20R,ELSET=L{layer}").unwrap();
        for ex in 0..MESH {
            for ey in 0..MESH {
                let n = |di: usize, dj: usize, dk: usize| at(2 * ex + di, 2 * ey + dj, 2 * row + dk);
                let ring = |k| [n(0, 0, k), n(2, 0, k), n(2, 2, k), n(0, 2, k)];
                let between = |k| [n(1, 0, k), n(2, 1, k), n(1, 2, k), n(0, 1, k)];
                let nodes = [ring(0), ring(2), between(0), between(2), ring(1)].concat();
                let names: Vec<String> = nodes.iter().map(usize::to_string).collect();
                // No more than 16 entries in a line of the deck.
                let (first, second) = (names[..15].join(","), names[15..].join(","));
                writeln!(text, "{},{first},\n{second}", number(ex, ey, row)).unwrap();
            }
        }
    }
    text += &materials(stack);
    for (index, (material, ..)) in stack.iter().enumerate() {
        writeln!(text, "*SOLID SECTION,ELSET=L{index},MATERIAL={material},ORIENTATION=O{index}").unwrap();
    }
    let mut held = String::from("*BOUNDARY\n");
    for i in 0..SPAN {
        for j in 0..SPAN {
            let (on_x, on_y) = (i == 0 || i == last, j == 0 || j == last);
            for k in (0..levels).filter(|k| is_there(i, j, *k) && (on_x || on_y)) {
                let (node, centre) = (at(i, j, k), at(i, j, middle));
                if support == Support::Clamped {
                    writeln!(held, "{node},1,3").unwrap();
                    continue;
                }
                writeln!(held, "{node},3,3").unwrap();
                // The rotation along the edge: no difference along it through the thickness.
                for along in [(on_x, 2), (on_y, 1)].iter().filter(|(on, _)| *on && k != middle) {
                    writeln!(text, "*EQUATION\n2\n{node},{0},1.,{centre},{0},-1.", along.1).unwrap();
                }
            }
        }
    }
    // In the plane both faces together are held at the centre, and across at the ends: a point of the core
    // is too soft to hold the plate from turning, and so is a short arm.
    let (low, high) = (at(MESH, MESH, 0), at(MESH, MESH, levels - 1));
    writeln!(text, "*EQUATION\n2\n{low},1,1.,{high},1,1.").unwrap();
    text += &held;
    for i in [0, last] {
        writeln!(text, "{},2,2", at(i, MESH, middle)).unwrap();
    }
    writeln!(text, "*NSET,NSET=CENTRE\n{}", at(MESH, MESH, middle)).unwrap();
    match case {
        Case::Pressure => {
            text += "*STEP\n*STATIC\n*DLOAD\n";
            for ex in 0..MESH {
                for ey in 0..MESH {
                    writeln!(text, "{},P2,1000", number(ex, ey, rows.len() - 1)).unwrap();
                }
            }
            text += "*NODE PRINT,NSET=CENTRE\nU\n*END STEP\n";
        }
        Case::Buckle(nx, _) => {
            // Each ply takes its share by stiffness, so that the strain is even.
            let stiff = |layer: usize| match stack[layer] {
                ("CORE", ..) => 0.0,
                (_, angle, _) => {
                    if angle == 0.0 {
                        CARBON.e1
                    } else {
                        CARBON.e2
                    }
                }
            };
            let sum: f64 = rows.iter().map(|(layer, thickness)| stiff(*layer) * thickness).sum();
            text += "*STEP\n*BUCKLE\n1,1e-4\n*DLOAD\n";
            for (row, (layer, _)) in rows.iter().enumerate().filter(|(_, (layer, _))| stiff(*layer) > 0.0) {
                for ey in 0..MESH {
                    let stress = -nx * stiff(*layer) / sum;
                    let (low, high) = (number(0, ey, row), number(MESH - 1, ey, row));
                    writeln!(text, "{low},P6,{stress:.9e}\n{high},P4,{stress:.9e}").unwrap();
                }
            }
            text += "*END STEP\n";
        }
    }
    text
}

/// D of the layers, reduced where they are not symmetric, N m.
fn stiffness_of(stack: &[Ply]) -> Matrix3 {
    let layers: Vec<ElasticLayer> = stack
        .iter()
        .map(|(material, angle, thickness)| ElasticLayer {
            lamina: if *material == "CORE" { CORE } else { CARBON },
            angle: angle.to_radians(),
            thickness: *thickness,
        })
        .collect();
    let whole = stiffness(&layers).unwrap();
    reduced_bending(&whole.a, &whole.b, &whole.d).unwrap()
}

/// The same plate in Bondline: D of the layers, and S as the parallel sum over layers times `correction`,
/// or for a core G d^2/t_c.
fn plate(of: &Model) -> Plate {
    let Model { sides, support, stack } = *of;
    let bending = stiffness_of(stack);
    let total: f64 = stack.iter().map(|ply| ply.2).sum();
    let core = stack.iter().find(|ply| ply.0 == "CORE");
    let shear = match core {
        Some(core) => {
            let depth = (total + core.2) / 2.0;
            CORE_THROUGH.map(|g| g * depth * depth / core.2)
        }
        None => {
            let [along, across] = CARBON_THROUGH;
            let sum = stack.iter().fold([0.0; 2], |[x, y], (_, angle, thickness)| {
                let (s, c) = angle.to_radians().sin_cos();
                [
                    x + thickness * (along * c * c + across * s * s),
                    y + thickness * (along * s * s + across * c * c),
                ]
            });
            sum.map(|value| value * 5.0 / 6.0)
        }
    };
    Plate::new(sides, bending, Some(shear), support).unwrap()
}

/// Compares within `tolerance`.
fn compare(name: &str, of: &Model, case: Case, tolerance: f64) {
    let plate = plate(of);
    let here = match case {
        Case::Pressure => pressure(&plate, 1000.0).unwrap().deflection,
        Case::Buckle(nx, nxy) => buckling(&plate, [nx, 0.0, nxy]).unwrap().unwrap().factor,
    };
    let sandwich = of.stack.iter().any(|ply| ply.0 == "CORE");
    let deck = if sandwich { bricks(of, case) } else { shells(of, case, true) };
    let there = solve(&deck, case).abs();
    println!("{name}: {here:e} here, {there:e} in ccx, {:+.2} %", (here / there - 1.0) * 100.0);
    close(name, here, there, tolerance, 0.0);
}

const T: f64 = 0.25e-3;
const COMPRESSION: Case = Case::Buckle(-1000.0, 0.0);
const SHEAR: Case = Case::Buckle(0.0, 1000.0);

const SMALL: [f64; 2] = [0.36, 0.24];
const LARGE: [f64; 2] = [0.72, 0.48];

#[test]
fn a_cross_ply_plate_is_as_in_finite_elements() {
    let stack = [("CARBON", 0.0, 2.0 * T), ("CARBON", 90.0, 4.0 * T), ("CARBON", 0.0, 2.0 * T)];
    let simple = Model { sides: SMALL, support: Support::SimplySupported, stack: &stack };
    let clamped = Model { support: Support::Clamped, ..simple };
    compare("cross-ply, pressure", &simple, Case::Pressure, 5e-3);
    compare("cross-ply, clamped, pressure", &clamped, Case::Pressure, 1.5e-2);
    compare("cross-ply, compression", &simple, COMPRESSION, 5e-3);
    compare("cross-ply, clamped, compression", &clamped, COMPRESSION, 1.5e-2);
    compare("cross-ply, shear", &simple, SHEAR, 5e-3);
}

// D16 and D26 count: shear one way buckles it at two thirds of what it takes the other way.
#[test]
fn a_quasi_isotropic_plate_is_as_in_finite_elements() {
    let stack = [45.0, -45.0, 0.0, 90.0, 0.0, -45.0, 45.0]
        .map(|angle| ("CARBON", angle, if angle == 90.0 { 2.0 * T } else { T }));
    let simple = Model { sides: SMALL, support: Support::SimplySupported, stack: &stack };
    let clamped = Model { support: Support::Clamped, ..simple };
    compare("quasi-isotropic, pressure", &simple, Case::Pressure, 5e-3);
    compare("quasi-isotropic, clamped, pressure", &clamped, Case::Pressure, 1.5e-2);
    compare("quasi-isotropic, compression", &simple, COMPRESSION, 5e-3);
    compare("quasi-isotropic, shear", &simple, SHEAR, 5e-3);
    compare("quasi-isotropic, shear the other way", &simple, Case::Buckle(0.0, -1000.0), 5e-3);
    compare("quasi-isotropic, both", &simple, Case::Buckle(-1000.0, 600.0), 5e-3);

    // Soft support: the rotation along the edge is free. No other case of Bondline's; within 2 %.
    let soft = solve(&shells(&simple, Case::Pressure, false), Case::Pressure).abs();
    let here = pressure(&plate(&simple), 1000.0).unwrap().deflection;
    assert!(here < soft && soft < 1.02 * here, "{here} hard, {soft} soft");
}

// An unsymmetric stack by its reduced bending stiffness: the approximation is good where edges can move in
// their plane, as here.
#[test]
fn an_unsymmetric_plate_is_near_its_reduced_stiffness() {
    let stack = [("CARBON", 0.0, 4.0 * T), ("CARBON", 90.0, 4.0 * T)];
    let simple = Model { sides: SMALL, support: Support::SimplySupported, stack: &stack };
    compare("unsymmetric, pressure", &simple, Case::Pressure, 1e-2);
    compare("unsymmetric, compression", &simple, COMPRESSION, 1e-2);
}

// More than half of the small plate's deflection is shear of the core. The model of the
// small one buckles first in short waves of its faces, at a load that rises with the core's modulus through
// the thickness; this mesh does not resolve them, so only the large one is compared in compression.
#[test]
fn a_sandwich_plate_is_as_in_finite_elements() {
    let stack = [
        ("CARBON", 0.0, T),
        ("CARBON", 90.0, T),
        ("CORE", 0.0, 15e-3),
        ("CARBON", 90.0, T),
        ("CARBON", 0.0, T),
    ];
    for (name, sides) in [("small", SMALL), ("large", LARGE)] {
        let simple = Model { sides, support: Support::SimplySupported, stack: &stack };
        let clamped = Model { support: Support::Clamped, ..simple };
        compare(&format!("{name} sandwich, pressure"), &simple, Case::Pressure, 1.5e-2);
        compare(&format!("{name} sandwich, clamped, pressure"), &clamped, Case::Pressure, 1.5e-2);
    }
    let large = Model { sides: LARGE, support: Support::SimplySupported, stack: &stack };
    compare("large sandwich, compression", &large, COMPRESSION, 1e-2);
    let thin = Plate::new(SMALL, stiffness_of(&stack), None, Support::SimplySupported).unwrap();
    let small = Model { sides: SMALL, ..large };
    let [by_bending, whole] =
        [&thin, &plate(&small)].map(|plate| pressure(plate, 1000.0).unwrap().deflection);
    assert!(by_bending < 0.5 * whole, "{by_bending} of {whole}");
}
