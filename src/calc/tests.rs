use super::*;

/// Reckons the text of a step as it stands: + - x / ^, brackets, a few functions.
struct Reckoner<'t> {
    rest: &'t str,
}

impl<'t> Reckoner<'t> {
    fn of(text: &'t str) -> f64 {
        let mut reckoner = Self { rest: text };
        let value = reckoner.sum();
        assert_eq!(reckoner.rest.trim(), "", "left over of `{text}`");
        value
    }

    fn takes(&mut self, word: &str) -> bool {
        let rest = self.rest.trim_start();
        match rest.strip_prefix(word) {
            Some(after) => {
                self.rest = after;
                true
            }
            None => false,
        }
    }

    fn sum(&mut self) -> f64 {
        let mut value = if self.takes("-") { -self.product() } else { self.product() };
        loop {
            if self.takes("+") {
                value += self.product();
            } else if self.takes("-") {
                value -= self.product();
            } else {
                return value;
            }
        }
    }

    fn product(&mut self) -> f64 {
        let mut value = self.power();
        loop {
            if self.takes("x ") {
                value *= self.power();
            } else if self.takes("/") {
                value /= self.power();
            } else {
                return value;
            }
        }
    }

    fn power(&mut self) -> f64 {
        let base = self.atom();
        if self.takes("^") { base.powf(self.atom()) } else { base }
    }

    fn atom(&mut self) -> f64 {
        if self.takes("(") {
            let value = self.sum();
            assert!(self.takes(")"), "no `)` before `{}`", self.rest);
            return value;
        }
        type Function = (&'static str, fn(f64) -> f64);
        let functions: [Function; 8] = [
            ("sqrt(", f64::sqrt),
            ("exp(", f64::exp),
            ("ln(", f64::ln),
            ("tanh(", f64::tanh),
            ("cos(", |degrees| degrees.to_radians().cos()),
            ("sin(", |degrees| degrees.to_radians().sin()),
            ("ceil(", f64::ceil),
            ("abs(", f64::abs),
        ];
        for (name, function) in functions {
            if self.takes(name) {
                let value = function(self.sum());
                assert!(self.takes(")"));
                return value;
            }
        }
        for (name, pick) in [("max(", f64::max as fn(f64, f64) -> f64), ("min(", f64::min)] {
            if self.takes(name) {
                let mut value = self.sum();
                while self.takes(",") {
                    value = pick(value, self.sum());
                }
                assert!(self.takes(")"));
                return value;
            }
        }
        let rest = self.rest.trim_start();
        let number = |c: char| c.is_ascii_digit() || c == '.' || c == 'e';
        let mut end = rest.find(|c: char| !number(c)).unwrap_or(rest.len());
        // `1e-6` goes on behind its sign.
        if rest[..end].ends_with('e') {
            end += 1 + rest[end + 1..].find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len() - end - 1);
        }
        let value = rest[..end].parse().unwrap_or_else(|_| panic!("no number at `{rest}`"));
        self.rest = &rest[end..];
        value
    }
}

fn sample_answer(topic: &TopicEntry) -> Answer {
    topic
        .answer("sample.yaml", topic.sample.as_bytes())
        .unwrap_or_else(|faults| panic!("{}: {faults:#?}", topic.name))
}

#[test]
fn the_reckoner_reckons() {
    for (text, value) in [
        ("1 + 2 x 3", 7.0),
        ("-1 x (-2) - 3", -1.0),
        ("(1 - 0.5)/(2 x 0.25)", 1.0),
        ("2 x 3^2/1e-2", 1800.0),
        ("sqrt(16) + max(1, 7, 3)", 11.0),
        ("1.5e2 x exp(0)", 150.0),
        ("8/2/2", 2.0),
    ] {
        assert_eq!(Reckoner::of(text), value, "{text}");
    }
}

#[test]
fn every_step_of_every_sample_reckons_to_what_it_says() {
    let (mut reckoned, mut wrong) = (0, Vec::new());
    for topic in TOPICS {
        let answer = sample_answer(topic);
        assert!(!answer.work.steps.is_empty() && !answer.work.results.is_empty(), "{}", topic.name);
        for step in answer.work.steps.iter().filter(|step| !step.text.starts_with('[')) {
            let there = Reckoner::of(&step.text);
            // Numbers are put in with six digits; a difference of large ones keeps fewer.
            let size = step.value.abs().max(1e-12);
            if (there - step.value).abs() > 2e-3 * size {
                wrong.push(format!("{}: {step:?} reckons to {there}", topic.name));
            }
            reckoned += 1;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(reckoned > 3 * TOPICS.len(), "only {reckoned} steps");
}

#[test]
fn every_result_is_a_step_or_follows_in_words() {
    let mut alone = Vec::new();
    // The figure of a result stands among the steps: nobody has to believe a number without its way.
    for topic in TOPICS {
        let answer = sample_answer(topic);
        for result in answer.work.results.iter().filter(|one| one.value.is_f64()) {
            let value = result.value.as_f64().unwrap();
            let close = |step: &Step| (step.value - value).abs() <= 1e-9 * value.abs().max(1e-9);
            let read =
                answer.read.iter().any(|leaf| leaf.quantity.as_ref().is_some_and(|one| one.si() == value));
            let shown = answer.work.steps.iter().any(close) || read;
            if !shown && !DERIVED.contains(&result.key.as_str()) {
                alone.push(format!("{}: {}", topic.name, result.key));
            }
        }
    }
    assert!(alone.is_empty(), "{alone:?}");
}

/// Results that are said beside the steps: a sum or the like of what stands there.
const DERIVED: [&str; 2] = ["density_kg_m3", "included_angle_after_deg"];

#[test]
fn names_samples_and_schemas_are_sound() {
    for topic in TOPICS {
        let name = topic.name;
        assert!(name.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{name}");
        assert!(
            topic.sample.starts_with("# ")
                && ["invented", "(Kaw 2.17, from memory)"].iter().any(|words| topic.sample.contains(words)),
            "{name}: samples say so"
        );
        assert!(!topic.source.is_empty() && !topic.about.ends_with('.'), "{name}");
        for (key, told) in topic.keys() {
            assert!(!told.is_empty(), "{name}: `{}` says nothing", key.key);
        }
        let (mut schemas, mut compiler) = (boon::Schemas::new(), boon::Compiler::new());
        compiler.add_resource("mem:///schema", topic.schema()).unwrap();
        let compiled = compiler.compile("mem:///schema", &mut schemas).unwrap();
        let value: Value = serde_yaml::from_str(topic.sample).unwrap();
        schemas.validate(&value, compiled).unwrap_or_else(|error| panic!("{name}: {error:#}"));
    }
    let mut names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), TOPICS.len());
}

fn result(topic: &str, yaml: &str, key: &str) -> f64 {
    let answer = super::topic(topic).unwrap().answer("x.yaml", yaml.as_bytes());
    let answer = answer.unwrap_or_else(|faults| panic!("{topic}: {faults:#?}"));
    answer.work.document().get(key).and_then(Value::as_f64).unwrap_or_else(|| panic!("{topic}: no {key}"))
}

#[track_caller]
fn close(got: f64, expected: f64, absolute: f64) {
    assert!((got - expected).abs() <= absolute, "{got} against {expected}");
}

/// From the written input through units to the written result: the figures of the rooms' own checks, with
/// their sources there.
#[test]
fn answers_are_those_of_the_rooms() {
    let day = "{emittance: 0.9, irradiance: 1120 W/m2, ambient: 49 degC, sky: 49 degC, wind: 4.3 km/h";
    // h = 5.7 + 3.8 x 4.3/3.6 = 10.239; scipy.optimize.brentq on the balance with it.
    close(result("skin-temperature", &format!("{day}, absorptance: 50 %}}"), "ramp_degC"), 79.92103, 1e-5);
    let moisture = "{thickness: 3.0 mm, diffusivity: 2.6e-7 mm2/s, fraction: 95 %, faces: ";
    close(result("moisture", &format!("{moisture}both}}"), "time_d"), 113.0817, 1e-4);
    close(result("moisture", &format!("{moisture}one}}"), "time_d"), 452.3267, 1e-4);
    let bracket = "{included_angle: 90, expansion_in_plane: 2.5e-6 1/K, expansion_through: 45 um/m/K, \
                   cure: 453.15 K, room: 68 degF";
    close(result("spring-in", &format!("{bracket}}}"), "spring_in_deg"), 0.61644, 5e-6);
    close(
        result("spring-in", &format!("{bracket}, shrinkage_through: -5000 ustrain}}"), "spring_in_deg"),
        1.06870,
        5e-6,
    );
    let tool = "{tool: 14e-6 1/K, part: 3e-6 1/K, set: 120 degC, room: 20 degC, length: 1 m}";
    close(result("tool-mismatch", tool, "mismatch_mm"), 1.1, 1e-9);
    // Recomputed figures of sandwich texts, NASA CR-1457 formulas, Roark and Timoshenko tables, Bredt-Batho:
    // the rooms' own checks name each source.
    let core =
        "core: {thickness: 10 mm, modulus: 130 MPa, shear_modulus: 0.09 GPa}, width: 2.5 cm, span: 0.3 m";
    let face = "{modulus: 70 GPa, thickness: 0.5 mm}";
    let beam = format!("{{faces: [{face}, {face}], {core}, case: three-point, force: 0.1 kN}}");
    close(result("sandwich-beam", &beam, "D_N_mm2"), 48_541_666.67, 1.0);
    close(result("sandwich-beam", &beam, "deflection_mm"), 1.461_141, 1e-6);
    let solid = "{core: solid, face_modulus: 70 GPa, core_modulus: 517 MPa, core_shear_modulus: 152 MPa}";
    close(result("wrinkling", solid, "wrinkling_stress_MPa"), 882.634, 1e-3);
    let comb = "{core: honeycomb, face_modulus: 70 GPa, core_modulus: 517 MPa, face_thickness: 0.5 mm, core_thickness: 12.7 mm}";
    close(result("wrinkling", comb, "wrinkling_stress_MPa"), 393.905, 1e-3);
    let cell = "{face_modulus: 70 GPa, poisson: 0.3, face_thickness: 0.5 mm, cell: 0.25 in}";
    close(result("dimpling", cell, "dimpling_stress_MPa"), 953.848, 1e-3);
    let plate = "length: 500 mm, width: 40 cm, edges: simply-supported, \
                 bending: {d11: 20 N m, d12: 2500 N mm, d22: 8 N m, d66: 3 N m}";
    close(
        result("plate-pressure", &format!("{{{plate}, pressure: 4 kPa}}"), "deflection_mm"),
        61.63355,
        1e-4,
    );
    close(
        result("plate-pressure", &format!("{{{plate}, pressure: 0.04 bar}}"), "Mx_centre_N"),
        54.0273,
        1e-3,
    );
    close(result("plate-buckling", &format!("{{{plate}, nx: -1 N/mm}}"), "factor"), 2.60928, 1e-5);
    let wall = |ends: &str, t: f64| {
        format!("{{{ends}, sheet: {{modulus: 70 GPa, shear_modulus: 27 GPa, thickness: {t} mm}}}}")
    };
    let tube = format!(
        "{{nodes: {{a: [0 mm, 0 mm], b: [200 mm, 0 mm], c: [0.2 m, 0.1 m], d: [0 mm, 100 mm]}}, walls: [{}, {}, {}, {}]}}",
        wall("from: a, to: b", 2.0),
        wall("from: b, to: c", 1.0),
        wall("from: c, to: d", 2.0),
        wall("from: d, to: a", 1.0),
    );
    close(result("section", &tube, "GJ_cells_N_mm2"), 1.08e11, 1e5);
    let laminate = "{materials: {u: {e1: 138 GPa, e2: 9 GPa, g12: 6.9 GPa, nu12: 0.3}}, \
                    layers: [{material: u, thickness: 0.2 mm}, {material: u, angle: 90, thickness: 0.2 mm}]}";
    close(result("laminate", laminate, "Ex_GPa"), 31.132_017, 1e-5);
    // n = 18: 1.97380 by scipy.stats.nct.
    close(result("tolerance-factor", "{n: 18, content: 90 %}", "k"), 1.97380, 2e-5);
    close(result("tolerance-factor", "{n: 18, content: 0.99}", "k"), 3.37033, 2e-5);
    let ply =
        "{fibre_areal: 200 g/m2, fibre_density: 1800 kg/m3, resin_density: 1.2 g/cm3, fibre_volume: 55 %}";
    // By hand: 0.2/(1800 x 0.55) = 0.20202 mm; 0.45 x 0.20202 x 1200 = 109.09 g/m2.
    close(result("ply", ply, "thickness_mm"), 0.202_020_2, 1e-7);
    close(result("ply", ply, "resin_areal_g_m2"), 109.0909, 1e-4);
}

/// Published data where there are any, else an invented sample; the rooms' own checks name each source.
#[test]
fn answers_on_specimens_are_those_of_the_rooms() {
    let batches = "unit: MPa, batches: {b1: [2512.4, 2588.1, 2476.9, 2633.0, 2550.2, 2497.7], \
                   b2: [2601.5, 2540.8, 2667.3, 2583.9, 2620.1, 2571.6], \
                   b3: [2459.2, 2533.7, 2502.5, 2581.4, 2488.0, 2547.9]}";
    let bearings = "unit: '1', values: [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.48, 51.84, 51.96, 54.12, 55.56, \
                    67.8, 68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]";
    // Tietjen and Moore, NIST/SEMATECH e-Handbook 1.3.5.17.1.
    let outlier = "{unit: '1', values: [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]}";
    close(result("outlier", outlier, "residual"), 2.468_765, 1e-6);
    close(result("outlier", outlier, "critical"), 2.1266, 6e-5);
    close(result("outlier", "{n: 18}", "critical"), 2.6516, 6e-5);
    // numpy and scipy.
    close(result("batches", &format!("{{{batches}}}"), "ADK"), 1.67554, 6e-6);
    close(result("batches", &format!("{{{batches}}}"), "ADC"), 2.21652, 6e-6);
    close(result("batches", &format!("{{{batches}, alpha: 5 %}}"), "ADC"), 1.91744, 6e-6);
    close(result("batches", &format!("{{{batches}}}"), "W"), 0.5506, 6e-5);
    close(result("batches", &format!("{{{batches}}}"), "F"), 3.6823, 6e-5);
    close(result("batch-variance", &format!("{{{batches}}}"), "B_MPa"), 2_323.324, 1e-3);
    close(result("batch-variance", &format!("{{{batches}}}"), "A_MPa"), 2_159.616, 2e-3);
    // Lieblein and Zelen.
    close(result("weibull-value", &format!("{{{bearings}}}"), "shape"), 2.10206, 6e-6);
    close(result("weibull-value", &format!("{{{bearings}}}"), "B"), 16.5913, 6e-5);
    let twelve = "{unit: MPa, values: [2512.4, 2588.1, 2476.9, 2633.0, 2550.2, 2497.7, 2601.5, 2540.8, 2667.3, \
                  2583.9, 2620.1, 2571.6]}";
    close(result("ranked-value", twelve, "B_MPa"), 2_393.072, 1e-3);
    let strength = "{property: strength, unit: MPa, qualified: {mean: 2550, deviation: 95}, n: 8}";
    close(result("equivalence", strength, "limit_mean_MPa"), 2_485.50, 0.01);
    close(result("equivalence", strength, "limit_least_MPa"), 2_293.51, 0.01);
    // Mean 161.2 and deviation 2.4 of eight values: scipy.stats.t gives limits 161.4983 and 166.5017.
    let apart = 2.4 * (7.0_f64 / 8.0).sqrt();
    let (low, high) = (161.2 - apart, 161.2 + apart);
    let values = format!("{low}, {high}, {low}, {high}, {low}, {high}, {low}, {high}");
    let modulus = format!(
        "{{property: modulus, unit: GPa, qualified: {{mean: 164, deviation: 3.1, n: 21}}, values: [{values}]}}"
    );
    close(result("equivalence", &modulus, "limit_low_GPa"), 161.4983, 6e-5);
    close(result("equivalence", &modulus, "limit_high_GPa"), 166.5017, 6e-5);
    let answer = topic("distribution-fit").unwrap().answer("x.yaml", format!("{{{bearings}}}").as_bytes());
    let document = answer.unwrap().work.document();
    let levels: Vec<f64> =
        document["fits"].as_array().unwrap().iter().map(|row| row["level"].as_f64().unwrap()).collect();
    for (got, expected) in levels.into_iter().zip([0.473_961, 0.088_142, 0.676_163]) {
        close(got, expected, 1e-6);
    }
    assert_eq!(document["first_that_fits"], "Weibull");
}

/// Large samples: sums are said in words, the rest still reckons.
#[test]
fn many_specimens_have_steps_too() {
    let list = |n: u32, least: u32| {
        let own: Vec<String> = (0..n).map(|i| format!("{}", least + (i * 37) % 101)).collect();
        format!("[{}]", own.join(", "))
    };
    let one = format!("{{unit: MPa, values: {}}}", list(400, 400));
    let many = format!("{{unit: MPa, batches: {{a: {}, b: {}}}}}", list(300, 400), list(200, 430));
    for (name, text) in [
        ("outlier", &one),
        ("distribution-fit", &one),
        ("weibull-value", &one),
        ("ranked-value", &one),
        ("batches", &many),
        ("batch-variance", &many),
    ] {
        let answer = topic(name).unwrap().answer("x.yaml", text.as_bytes()).unwrap();
        for step in answer.work.steps.iter().filter(|step| !step.text.starts_with('[')) {
            let there = Reckoner::of(&step.text);
            assert!(
                (there - step.value).abs() <= 2e-3 * step.value.abs().max(1e-12),
                "{name}: {step:?} {there}"
            );
            assert!(step.text.len() < 4000, "{name}: {}", step.symbol);
        }
    }
}

/// Kaw, Mechanics of Composite Materials, examples 2.13 to 2.19 (from memory, recomputed).
#[test]
fn criteria_are_those_of_the_textbook() {
    let topic = topic("failure").unwrap();
    let answer = sample_answer(topic);
    let document = answer.work.document();
    let rows = document["criteria"].as_array().unwrap();
    let reserve = |name: &str| {
        let row = rows.iter().find(|row| row["criterion"] == name).unwrap();
        row["reserve"].as_f64().unwrap()
    };
    close(reserve("maximum stress"), 16.3263, 2e-4);
    close(reserve("Tsai-Hill"), 16.0607, 2e-4);
    close(reserve("Tsai-Hill with tensile strengths"), 10.9376, 2e-4);
    close(reserve("Tsai-Wu"), 22.3887, 2e-4);
}

#[test]
fn everything_wrong_is_said_at_once_with_its_place() {
    let text = "thickness: -3 mm\nfaces: both\ndiffusivity: 2.6e-7 mm2/s\nfraction: 120 %\ntime: 5 d\n";
    let faults = topic("moisture").unwrap().answer("x.yaml", text.as_bytes()).unwrap_err();
    let told: Vec<(&str, Option<usize>, Option<usize>)> =
        faults.iter().map(|fault| (fault.rule, fault.place.line, fault.place.column)).collect();
    assert_eq!(
        told,
        [
            ("out-of-range", Some(1), Some(12)),
            ("out-of-range", Some(4), Some(11)),
            ("exactly-one", Some(5), Some(7))
        ]
    );
}
