use super::*;
use proptest::prelude::*;
use std::f64::consts::PI;

const MM: f64 = 1e-3;

fn close(got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{got}, expected {expected}");
}

/// A plate with nothing of its own thickness, for check values that leave it out.
fn thin(from: usize, to: usize, e: f64, g: f64, t: f64) -> Wall {
    Wall::new(from, to, WallKind::Plate { axial: e * t, bend: 0.0, shear: g * t, twist: 0.0, thickness: t })
}

fn rectangle(b: f64, h: f64) -> [[f64; 2]; 4] {
    [[0.0, 0.0], [b, 0.0], [b, h], [0.0, h]]
}

/// A regular polygon of `n` walls with its corners at radius `r`.
fn ring(n: usize, r: f64) -> Vec<[f64; 2]> {
    (0..n).map(|at| 2.0 * PI * at as f64 / n as f64).map(|phi| [r * phi.cos(), r * phi.sin()]).collect()
}

fn channel(b: f64, h: f64, t: f64) -> Section {
    let nodes = [[b, -h / 2.0], [0.0, -h / 2.0], [0.0, h / 2.0], [b, h / 2.0]];
    let walls = [0, 1, 2].map(|at| Wall::sheet(at, at + 1, 70e9, 0.3, t));
    Section::new(&nodes, &walls).unwrap()
}

// reference checks (n) 48 (1): own calculation by q = T/2A, GJ = 4A2/sum(l/(G t)).
#[test]
fn a_box_has_the_flow_and_stiffness_of_one_cell() {
    let walls = [
        thin(0, 1, 70e9, 27e9, 2.0 * MM),
        thin(1, 2, 70e9, 27e9, MM),
        thin(2, 3, 70e9, 27e9, 2.0 * MM),
        thin(3, 0, 70e9, 27e9, MM),
    ];
    let section = Section::new(&rectangle(0.2, 0.1), &walls).unwrap();
    close(section.torsion().gj, 1.08e11 * 1e-6, 1e-12);
    let under = section.under(&SectionLoad { torque: 1000.0, ..SectionLoad::default() }).unwrap();
    close(under.rate_of_twist, 9.259259e-6 * 1e3, 1e-6);
    for (wall, stress) in under.walls.iter().zip([12.5e6, 25e6, 12.5e6, 25e6]) {
        close(wall.flow[0], 25e3, 1e-12);
        close(wall.flow[1], 25e3, 1e-12);
        close(wall.shear_stress, stress, 1e-12);
    }
    // Each wall's part of 1/GJ: s/t of 100 and 100.
    for share in section.torsion_shares().unwrap() {
        close(share, 0.25, 1e-12);
    }
}

// reference checks (n) 48 (2): circle r = 50, t = 1 mm: q 6.366198 N/mm under 1e5 N mm, J = 2 pi r3 t =
// 785398.163 mm4, and I = pi r3 t of a thin tube. A polygon of 720 walls is 2e-5 inside the circle.
#[test]
fn a_thin_tube_is_that_of_the_closed_form() {
    let (n, r, t) = (720, 50.0 * MM, MM);
    let walls: Vec<Wall> = (0..n).map(|at| thin(at, (at + 1) % n, 70e9, 27e9, t)).collect();
    let tube = Section::new(&ring(n, r), &walls).unwrap();
    close(tube.torsion().cells / 27e9, 785398.163e-12, 1e-4);
    close(tube.torsion_flows(100.0).unwrap()[0], 6366.198, 1e-4);
    let rigidity = tube.rigidity();
    close(rigidity.ea, 70e9 * 2.0 * PI * r * t, 1e-4);
    for ei in [rigidity.ei_y, rigidity.ei_z, rigidity.ei_max, rigidity.ei_min] {
        close(ei, 70e9 * PI * r.powi(3) * t, 1e-4);
    }
    // The greatest flow of a thin tube under V is V/(pi r): twice the mean stress (Megson, from memory).
    let under = tube.under(&SectionLoad { vz: 1000.0, ..SectionLoad::default() }).unwrap();
    let most = under.walls.iter().map(|wall| wall.peak_flow.abs()).fold(0.0, f64::max);
    close(most, 1000.0 / (PI * r), 1e-3);
    assert!(under.rate_of_twist == 0.0);
}

// reference checks (n) 49 (1): A 10000 and 20000 mm2, outer walls 300 x 1 and 500 x 2, web 100 x 1.5 mm.
#[test]
fn two_cells_share_their_web() {
    let nodes = [[0.0, 0.0], [0.1, 0.0], [0.3, 0.0], [0.3, 0.1], [0.1, 0.1], [0.0, 0.1]];
    let g = 27e9;
    let walls = [
        thin(0, 1, 70e9, g, MM),
        thin(4, 5, 70e9, g, MM),
        thin(5, 0, 70e9, g, MM),
        thin(1, 2, 70e9, g, 2.0 * MM),
        thin(2, 3, 70e9, g, 2.0 * MM),
        thin(3, 4, 70e9, g, 2.0 * MM),
        thin(1, 4, 70e9, g, 1.5 * MM),
    ];
    let section = Section::new(&nodes, &walls).unwrap();
    assert_eq!(section.torsion().circuits, 2);
    close(section.torsion().gj, 1.982687e11 * 1e-6, 1e-6);
    let under = section.under(&SectionLoad { torque: 2000.0, ..SectionLoad::default() }).unwrap();
    close(under.rate_of_twist, 1.008732e-5 * 1e3, 1e-6);
    let flows: Vec<f64> = under.walls.iter().map(|wall| wall.flow[0]).collect();
    for (at, flow) in
        [21951.22, 21951.22, 21951.22, 39024.39, 39024.39, 39024.39, 21951.22 - 39024.39].iter().enumerate()
    {
        close(flows[at], *flow, 1e-6);
    }
    // 49 (2): two equal cells: the web carries nothing, GJ is that of one cell of both.
    let nodes = [[0.0, 0.0], [0.1, 0.0], [0.2, 0.0], [0.2, 0.1], [0.1, 0.1], [0.0, 0.1]];
    let equal: Vec<Wall> = [(0, 1), (4, 5), (5, 0), (1, 2), (2, 3), (3, 4), (1, 4)]
        .map(|(a, b)| thin(a, b, 70e9, g, 2.0 * MM))
        .into();
    let section = Section::new(&nodes, &equal).unwrap();
    close(section.torsion().gj, 1.44e11 * 1e-6, 1e-12);
    let flows = section.torsion_flows(1000.0).unwrap();
    close(flows[0], 25e3, 1e-12);
    assert!(flows[6].abs() < 1e-9 * 25e3);
}

// Shear centre of a channel with equal thickness: e = 3 b2/(h + 6 b) outside the web, mid-line b and h
// (Megson; Timoshenko, Strength of Materials; from memory). GJ of an open section: sum of G b t3/3.
#[test]
fn a_channel_has_its_shear_centre_outside_the_web() {
    let (b, h, t) = (50.0 * MM, 100.0 * MM, 2.0 * MM);
    let section = channel(b, h, t);
    let centre = section.shear_centre().unwrap();
    close(centre[0], -3.0 * b * b / (h + 6.0 * b), 1e-12);
    assert!(centre[1].abs() < 1e-12);
    let g = 70e9 / 2.6;
    close(section.torsion().gj, g * (2.0 * b + h) * t.powi(3) / 3.0, 1e-12);
    assert_eq!(section.closed_gj(), Err(SectionError::Open { end: Some(0) }));
    // Surface stress of an open section under torque: T t/J.
    let under = section.under(&SectionLoad { torque: 2.0, ..SectionLoad::default() }).unwrap();
    for wall in &under.walls {
        close(wall.twist_stress, 2.0 * t / ((2.0 * b + h) * t.powi(3) / 3.0), 1e-12);
        assert_eq!(wall.flow, [0.0, 0.0]);
    }
}

// tau_max = V S/(I t) of a channel by hand: S at mid-height = b t h/2 + t h2/8, I = t h3/12 + b t h2/2.
#[test]
fn a_web_has_its_greatest_flow_where_the_axial_stress_is_nil() {
    let (b, h, t) = (50.0 * MM, 100.0 * MM, 2.0 * MM);
    let section = channel(b, h, t);
    let under = section.under(&SectionLoad { vz: 1000.0, ..SectionLoad::default() }).unwrap();
    let first = b * t * h / 2.0 + t * h * h / 8.0;
    let second = t * h.powi(3) / 12.0 + b * t * h * h / 2.0;
    close(under.walls[1].peak_flow, 1000.0 * first / second, 1e-12);
    close(under.walls[1].shear_stress, 1000.0 * first / second / t, 1e-12);
    // Through the web instead of the shear centre: V times 3 b2/(h + 6 b) twists it.
    let through =
        section.under(&SectionLoad { vz: 1000.0, at: Some([0.0, 0.0]), ..SectionLoad::default() }).unwrap();
    close(through.torque, 1000.0 * 3.0 * b * b / (h + 6.0 * b), 1e-12);
    close(through.rate_of_twist, through.torque / section.torsion().gj, 1e-12);
}

// I of a hollow rectangle B H3/12 - b h3/12, from its outer and inner sides: the mid-line sum with the
// walls' own thickness is short only by the corners, by hand: four squares of t/2.
#[test]
fn bending_counts_the_walls_own_thickness() {
    let (b, h, t, e) = (80.0 * MM, 40.0 * MM, 2.0 * MM, 50e9);
    let walls = [0, 1, 2, 3].map(|at| Wall::sheet(at, (at + 1) % 4, e, 0.3, t));
    let r = Section::new(&rectangle(b, h), &walls).unwrap().rigidity();
    let by_hand = 2.0 * (b * t * h * h / 4.0 + b * t.powi(3) / 12.0) + 2.0 * t * h.powi(3) / 12.0;
    close(r.ei_y, e * by_hand, 1e-12);
    let solid = |b: f64, h: f64| b * h.powi(3) / 12.0;
    close(r.ei_y, e * (solid(b + t, h + t) - solid(b - t, h - t)), 5e-3);
    close(r.centroid[0], b / 2.0, 1e-12);
    close(r.centroid[1], h / 2.0, 1e-12);
    close(r.ei_max, r.ei_z, 1e-12);
    close(r.angle, PI / 2.0, 1e-12);
}

// Z-section: principal axes by tan 2 phi = -2 EIyz/(EIy - EIz), and stresses by sigma = N/A + ... with
// the moments recovered from the stresses.
#[test]
fn axial_stress_gives_back_its_loads() {
    let nodes = [[-0.04, 0.05], [0.0, 0.05], [0.0, -0.05], [0.06, -0.05]];
    let walls = [0, 1, 2].map(|at| {
        Wall::new(
            at,
            at + 1,
            WallKind::Plate {
                axial: 1e8 * (1.0 + at as f64),
                bend: 0.0,
                shear: 3e7,
                twist: 1.0,
                thickness: 0.002,
            },
        )
    });
    let section = Section::new(&nodes, &walls).unwrap();
    let load = SectionLoad { n: 3000.0, my: 120.0, mz: -70.0, ..SectionLoad::default() };
    let under = section.under(&load).unwrap();
    let (mut n, mut my, mut mz) = (0.0, 0.0, 0.0);
    for (wall, state) in walls.iter().zip(&under.walls) {
        let (a, b) = (nodes[wall.from], nodes[wall.to]);
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        let stress = state.axial.unwrap().stress;
        // Simpson is exact for the product of two straight lines.
        let centre = section.rigidity().centroid;
        for (s, weight) in [(0.0, 1.0), (0.5, 4.0), (1.0, 1.0)] {
            let force = (stress[0] + s * (stress[1] - stress[0])) * 0.002 * length * weight / 6.0;
            n += force;
            my += force * (a[1] + s * (b[1] - a[1]) - centre[1]);
            mz -= force * (a[0] + s * (b[0] - a[0]) - centre[0]);
        }
    }
    close(n, load.n, 1e-9);
    close(my, load.my, 1e-9);
    close(mz, load.mz, 1e-9);
    let r = section.rigidity();
    close((2.0 * r.angle).tan(), -2.0 * r.ei_yz / (r.ei_y - r.ei_z), 1e-9);
    close(r.ei_max * r.ei_min, r.ei_y * r.ei_z - r.ei_yz * r.ei_yz, 1e-9);
}

/// The cell of the trade page (its worked example, calculated there): 80 x 40 mm, laminate of 1.5 mm
/// with G = 20 GPa, sheet of 5 mm with G = 1.1 GPa on one long side, on two bonds of `g`.
fn glazed(g: Option<f64>) -> Section {
    let [a, b, c, d] = rectangle(80.0 * MM, 40.0 * MM);
    let frame = |from, to| Wall::of_moduli(from, to, 50e9, 20e9, 1.5 * MM);
    let mut walls = vec![frame(0, 1), frame(1, 2), frame(3, 0)];
    let sheet = |from, to| Wall::of_moduli(from, to, 3e9, 1.1e9, 5.0 * MM).as_pane();
    match g {
        None => {
            walls.push(sheet(2, 3));
            Section::new(&[a, b, c, d], &walls)
        }
        Some(g) => {
            walls.extend([Wall::bond(2, 4, 12.0 * MM, 3.0 * MM, g), sheet(4, 5)]);
            walls.push(Wall::bond(5, 3, 12.0 * MM, 3.0 * MM, g));
            Section::new(&[a, b, c, d, c, d], &walls)
        }
    }
    .unwrap()
}

// Printed: closed 2.1e9, open 3.6e6 N mm2, ratio some 570, 0.40 of an all-laminate cell.
#[test]
fn a_lost_pane_leaves_an_open_section() {
    let section = glazed(None);
    let loss = section.pane_loss().unwrap();
    close(loss.whole.cells, 2.1e9 * 1e-6, 0.02);
    close(loss.lost.gj, 3.6e6 * 1e-6, 1e-12);
    close(loss.whole.cells / loss.lost.gj, 570.0, 0.01);
    assert_eq!(loss.lost.cells, 0.0);
    let all = [0, 1, 2, 3].map(|at| Wall::of_moduli(at, (at + 1) % 4, 50e9, 20e9, 1.5 * MM));
    let all = Section::new(&rectangle(80.0 * MM, 40.0 * MM), &all).unwrap();
    close(loss.whole.cells / all.torsion().cells, 0.40, 0.01);
}

// Springs in series by hand: 1/GJ = (sum of s/(G t) + 2 t_b/(G_b w_b))/(4 A2).
#[test]
fn bonds_are_springs_in_series() {
    let g = 1e6;
    let section = glazed(Some(g));
    let walls = 0.16 / (20e9 * 1.5e-3) + 0.08 / (1.1e9 * 5e-3);
    let bonds = 2.0 * 3.0 / (g * 12.0);
    close(section.closed_gj().unwrap(), 4.0 * (0.08_f64 * 0.04).powi(2) / (walls + bonds), 1e-12);
    let under = section.under(&SectionLoad { torque: 1.0, ..SectionLoad::default() }).unwrap();
    let bond = under.walls[3];
    assert_eq!((bond.wall, bond.axial), (3, None));
    close(bond.shear_stress, 1.0 / (2.0 * 0.08 * 0.04) / 0.012, 1e-12);
    let without = section.without_pane().unwrap();
    assert_eq!(without.walls().map(|(at, _)| at).collect::<Vec<_>>(), [0, 1, 2]);
    close(section.torsion_shares().unwrap().iter().sum(), 1.0, 1e-12);
}

// One isotropic ply by hand: a11 = 1/(E t), a66 = 1/(G t), d11 = 12/(E t3), d66 = 12/(G t3).
#[test]
fn a_laminate_gives_its_wall_by_its_compliances() {
    let (e, g, t) = (50e9, 20e9, 1.5 * MM);
    let cube: f64 = 12.0 / t.powi(3);
    let wall = Wall::laminate(0, 1, [1.0 / (e * t), 1.0 / (g * t)], [cube / e, cube / g], t);
    let same = |wall: Wall| match wall.kind {
        WallKind::Plate { axial, bend, shear, twist, thickness } => [axial, bend, shear, twist, thickness],
        WallKind::Bond { .. } => panic!("a plate"),
    };
    for (got, expected) in same(wall).into_iter().zip(same(Wall::of_moduli(0, 1, e, g, t))) {
        close(got, expected, 1e-12);
    }
    let singular = Wall::laminate(0, 1, [0.0, 1.0], [1.0, 1.0], t);
    assert!(Section::new(&rectangle(0.1, 0.1), &[singular]).is_err());
}

// By hand, Mohr's circle: tube under N and T with sigma = 30, tau = 20 MPa: 15 + sqrt(15^2 + 20^2) = 40.
#[test]
fn a_wall_has_its_greatest_tension_askew() {
    let walls = [0, 1, 2, 3].map(|at| thin(at, (at + 1) % 4, 70e9, 27e9, 2.0 * MM));
    let tube = Section::new(&rectangle(0.1, 0.1), &walls).unwrap();
    let load = SectionLoad { n: 30e6 * 0.4 * 2e-3, torque: 20e6 * 2e-3 * 0.02, ..SectionLoad::default() };
    for wall in tube.under(&load).unwrap().walls {
        let axial = wall.axial.unwrap();
        close(axial.stress[0], 30e6, 1e-9);
        close(axial.principal_stress, 40e6, 1e-9);
    }
    let pressed = SectionLoad { n: -load.n, torque: 0.0, ..load };
    assert_eq!(tube.under(&pressed).unwrap().walls[0].axial.unwrap().principal_stress, 0.0);
}

#[test]
fn faults_have_names() {
    let nodes = rectangle(0.1, 0.1);
    let w = |from, to| thin(from, to, 70e9, 27e9, MM);
    let fault = |nodes: &[[f64; 2]], walls: &[Wall]| Section::new(nodes, walls).unwrap_err();
    assert_eq!(fault(&nodes, &[]), SectionError::Empty);
    assert_eq!(fault(&nodes, &[w(0, 1), w(1, 4)]), SectionError::NoSuchNode { wall: 1, node: 4, nodes: 4 });
    assert_eq!(fault(&nodes, &[w(0, 1), w(2, 3)]), SectionError::Disconnected { root: 0, wall: 1 });
    assert_eq!(fault(&nodes, &[w(0, 1), w(2, 2)]), SectionError::ZeroLength { wall: 1, from: 2, to: 2 });
    let same = [[0.0, 0.0], [0.0, 0.0]];
    assert_eq!(fault(&same, &[w(0, 1)]), SectionError::ZeroLength { wall: 0, from: 0, to: 1 });
    assert_eq!(fault(&nodes, &[Wall::bond(0, 1, 0.01, 0.003, 1e6)]), SectionError::NoAxialStiffness);
    let off = [[0.0, f64::NAN], [1.0, 0.0]];
    assert!(matches!(fault(&off, &[w(0, 1)]), SectionError::NodeOutOfRange { node: 0, .. }));
    for bad in [
        Wall::sheet(0, 1, f64::NAN, 0.3, MM),
        Wall::sheet(0, 1, 70e9, -1.0, MM),
        Wall::sheet(0, 1, 70e9, 0.3, 0.0),
    ] {
        assert!(matches!(fault(&nodes, &[bad]), SectionError::WallOutOfRange { wall: 0, .. }));
    }
    let bond = Wall::bond(0, 1, 0.01, 0.003, 0.0);
    assert!(matches!(fault(&nodes, &[w(0, 1), bond]), SectionError::WallOutOfRange { wall: 1, .. }));
    let strip = Section::new(&nodes, &[w(0, 1)]).unwrap();
    assert_eq!(strip.shear_centre(), Err(SectionError::Straight));
    let torque = SectionLoad { torque: 1.0, ..SectionLoad::default() };
    assert_eq!(strip.under(&torque).unwrap_err(), SectionError::NoTorsion);
    assert_eq!(strip.pane_loss().unwrap_err(), SectionError::NoPane);
    let pane = Section::new(&nodes, &[w(0, 1).as_pane()]).unwrap();
    assert_eq!(pane.pane_loss().unwrap_err(), SectionError::AllPane);
    let apart = Section::new(&nodes, &[w(0, 1), w(1, 2).as_pane(), w(2, 3)]).unwrap();
    assert!(matches!(apart.pane_loss().unwrap_err(), SectionError::Disconnected { .. }));
    let endless = SectionLoad { n: f64::INFINITY, ..SectionLoad::default() };
    assert!(matches!(strip.under(&endless), Err(SectionError::LoadOutOfRange { .. })));
    // Two walls back to back bound no area.
    let lap = Section::new(&nodes, &[w(0, 1), w(0, 1)]).unwrap();
    assert_eq!(lap.closed_gj(), Err(SectionError::Open { end: None }));
}

/// A frame of random corners round the origin with a web across, a flange out, and a pane on bonds.
fn any_section() -> impl Strategy<Value = (Vec<[f64; 2]>, Vec<Wall>)> {
    let wall = || (1e9..80e9, 1e9..30e9, 0.5e-3..6e-3);
    let walls = proptest::collection::vec(wall(), 8);
    let radii = proptest::collection::vec(0.03..0.15, 6);
    (walls, radii, 1e5..1e9, 1e-3..0.1).prop_map(|(walls, radii, g, flange)| {
        let mut nodes: Vec<[f64; 2]> =
            ring(6, 1.0).into_iter().zip(radii).map(|([y, z], r)| [r * y, r * z]).collect();
        nodes.push([nodes[0][0] + flange, nodes[0][1]]);
        nodes.push([nodes[5][0] + 0.002, nodes[5][1]]);
        let ends = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 7), (5, 0), (1, 4), (0, 6)];
        let mut all: Vec<Wall> =
            ends.iter().zip(walls).map(|((a, b), (e, g, t))| Wall::of_moduli(*a, *b, e, g, t)).collect();
        all.push(Wall::bond(7, 5, 0.012, 0.003, g));
        (nodes, all)
    })
}

fn turned(nodes: &[[f64; 2]], phi: f64, [y0, z0]: [f64; 2]) -> Vec<[f64; 2]> {
    let (s, c) = phi.sin_cos();
    nodes.iter().map(|[y, z]| [y0 + c * y - s * z, z0 + s * y + c * z]).collect()
}

proptest! {
    #[test]
    fn flows_are_in_equilibrium((nodes, walls) in any_section(), vy in -1e3..1e3, vz in -1e3..1e3, torque in -100.0..100.0) {
        let section = Section::new(&nodes, &walls).unwrap();
        let point = [0.02, -0.03];
        let load = SectionLoad { vy, vz, torque, at: Some(point), ..SectionLoad::default() };
        let under = section.under(&load).unwrap();
        let mut at_nodes = vec![0.0; nodes.len()];
        let (mut across, mut up, mut about) = (0.0, 0.0, 0.0);
        let starts: Vec<_> = section.shear_flows([vy, vz]).unwrap();
        let twisted = section.torsion_flows(under.torque).unwrap();
        for (((wall, state), flow), twist) in walls.iter().zip(&under.walls).zip(starts).zip(twisted) {
            at_nodes[wall.from] -= state.flow[0];
            at_nodes[wall.to] += state.flow[1];
            let (a, b) = (nodes[wall.from], nodes[wall.to]);
            let mean = flow.mean() + twist;
            across += mean * (b[0] - a[0]);
            up += mean * (b[1] - a[1]);
            about += mean * (a[0] * b[1] - a[1] * b[0]);
        }
        let scale = 1e4 * (1.0 + vy.abs() + vz.abs() + torque.abs() * 100.0);
        for flow in at_nodes {
            prop_assert!(flow.abs() < 1e-9 * scale);
        }
        prop_assert!((across - vy).abs() < 1e-9 * scale);
        prop_assert!((up - vz).abs() < 1e-9 * scale);
        let given = torque + point[0] * vz - point[1] * vy;
        prop_assert!((about - given).abs() < 1e-9 * scale);
    }

    #[test]
    fn a_section_is_the_same_wherever_it_stands(
        (nodes, walls) in any_section(), phi in -3.0..3.0, y in -5.0..5.0, z in -5.0..5.0
    ) {
        let one = Section::new(&nodes, &walls).unwrap();
        let moved = turned(&nodes, phi, [y, z]);
        let other = Section::new(&moved, &walls).unwrap();
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-8 * a.abs().max(b.abs());
        let (r, m) = (one.rigidity(), other.rigidity());
        prop_assert!(near(one.torsion().gj, other.torsion().gj));
        prop_assert!(near(r.ea, m.ea) && near(r.ei_max, m.ei_max) && near(r.ei_min, m.ei_min));
        let centre = turned(&[one.shear_centre().unwrap()], phi, [y, z])[0];
        let found = other.shear_centre().unwrap();
        prop_assert!((centre[0] - found[0]).hypot(centre[1] - found[1]) < 1e-8);
    }

    #[test]
    fn the_order_and_sense_of_walls_do_not_count((nodes, walls) in any_section()) {
        let one = Section::new(&nodes, &walls).unwrap();
        let back: Vec<Wall> = walls.iter().rev().map(|w| Wall { from: w.to, to: w.from, ..*w }).collect();
        let other = Section::new(&nodes, &back).unwrap();
        prop_assert!((one.torsion().gj - other.torsion().gj).abs() <= 1e-9 * one.torsion().gj);
        let load = SectionLoad { vy: 300.0, vz: -500.0, my: 20.0, torque: 10.0, ..SectionLoad::default() };
        let (a, b) = (one.under(&load).unwrap(), other.under(&load).unwrap());
        for (x, y) in a.walls.iter().zip(b.walls.iter().rev()) {
            prop_assert!((x.flow[0] + y.flow[1]).abs() < 1e-6 * (1.0 + x.flow[0].abs()));
        }
    }

    #[test]
    fn a_bond_leads_from_the_open_section_to_the_closed_one(log_g in 0.0..12.0) {
        let closed = glazed(None).torsion();
        let g = 10_f64.powf(log_g);
        let bonded = glazed(Some(g));
        let loss = bonded.pane_loss().unwrap();
        let (with, open) = (bonded.torsion(), loss.lost.gj);
        prop_assert!(with.cells < closed.cells && with.gj > open);
        // Stiffer: within the bonds' share of the circuit; softer: within what they still carry.
        let (bonds, walls) = (0.5 / g, 4.0 * (0.08_f64 * 0.04).powi(2) / closed.cells);
        prop_assert!((with.cells / closed.cells - walls / (walls + bonds)).abs() < 1e-9);
        let soft = glazed(Some(1.0));
        prop_assert!(soft.torsion().cells < 1e-4 * open);
        // The sheet that hangs on nothing still twists: the open section and the sheet by itself.
        let sheet = 1.1e9 * 0.08 * 0.005_f64.powi(3) / 3.0;
        prop_assert!((soft.torsion().gj - open - sheet).abs() < 1e-3 * open);
        let stiff = glazed(Some(1e12));
        prop_assert!((stiff.torsion().gj / closed.gj - 1.0).abs() < 1e-4);
    }

    #[test]
    fn nothing_that_is_not_finite_comes_out(
        (nodes, mut walls) in any_section(), e in proptest::num::f64::ANY, t in proptest::num::f64::ANY,
        g in proptest::num::f64::ANY, n in proptest::num::f64::ANY
    ) {
        walls[2] = Wall::of_moduli(2, 3, e, g, 0.002);
        walls[8] = Wall::bond(7, 5, t, 0.003, g);
        if let Ok(section) = Section::new(&nodes, &walls)
            && let Ok(under) = section.under(&SectionLoad { n, vz: 10.0, torque: 1.0, ..SectionLoad::default() })
        {
            prop_assert!(section.torsion().gj.is_finite() && under.rate_of_twist.is_finite());
            prop_assert!(under.walls.iter().all(|wall| wall.shear_stress.is_finite()));
        }
    }
}
