//! What panels, samples and rankings say, held against each other and against `mass`, `laminate`, `why` and `gaps`.

use super::*;

documents! {
    PanelCost { currency: String, cost: f64, materials_cost: f64, moulds_cost: f64, labour_cost: f64, labour_h: f64, at_least: bool, missing: Vec<String>, lines: Vec<CostLine> }
    CostLine { sort: String, what: String, r#where: String, cost: Option<f64>, labour_h: Option<f64> }
    OnePanelMass { each_kg: f64, contributions: Vec<Contribution> }
    PlateLine { case: String, zone: String, environment: Option<String>, deflection_mm: Option<f64>, deflection_over_thickness: Option<f64>, linear: bool, buckling_factor: Option<f64> }
    Rigidity { EA_N: f64, centroid_mm: [f64; 2], EI_y_N_mm2: f64, EI_z_N_mm2: f64, EI_yz_N_mm2: f64, EI_max_N_mm2: f64, EI_min_N_mm2: f64, principal_angle_deg: f64 }
    PaneLost { GJ_N_mm2: f64, GJ_whole_over_lost: f64, stiffness: Rigidity }
    WallLine { case: String, environment: Option<String>, wall: String, kind: String, shear_flow_N_mm: f64, shear_stress_MPa: f64, axial_stress_MPa: Option<[f64; 2]> }
    Section { whole: Rigidity, environment: Option<String>, GJ_N_mm2: f64, cells: usize, shear_centre_mm: Option<[f64; 2]>, pane_lost: Option<PaneLost>, pane_lost_why_not: Option<String>, walls: Vec<WallLine> }
    Mismatch { joint: String, environment: Option<String>, case: String, change_K: f64, peak_shear_MPa: f64, sheet_stress_MPa: f64, free_shear_strain: f64 }
    HeatLimit { what: String, degC: f64, against: String, spare_K: f64 }
    ColourLimit { absorptance: Option<f64>, words: String, governs: Option<String> }
    Heat { zone: String, surface: String, absorptance: f64, ramp_degC: f64, structural_degC: f64, limits: Vec<HeatLimit>, colour_limit: Option<ColourLimit>, lacking: Vec<String>, assumptions: Vec<String> }
    Moisture { zone: String, of: String, thickness_mm: f64, diffusivity_mm2_s: f64, t95_both_faces_d: f64, t95_one_face_d: f64, assumption: Option<String> }
    Tooling { tool: String, what: String, words: String, ok: Option<bool>, source: String }
    PanelsDuty { showing: String, subject: String, verdict: String, asks: String }
    Panel { schema: String, panel: String, title: Option<String>, released: bool, released_for: Option<String>, mass: Option<OnePanelMass>, cost: Option<PanelCost>, least_margin: Option<Margin>, margins: Vec<Margin>, uncomputed: Vec<Uncomputed>, plates: Vec<PlateLine>, section: Option<Section>, mismatch: Vec<Mismatch>, temperatures: Vec<Heat>, temperatures_left_out: Vec<String>, moisture: Vec<Moisture>, tooling: Vec<Tooling>, tooling_lacks: Vec<String>, values: Vec<DesignValue>, duties: Vec<PanelsDuty>, assumptions: Vec<String>, caution: String, report: Report }

    BasisBatch { batch: String, values: Vec<f64>, as_measured: Option<Vec<f64>> }
    BasisRejected { line: usize, batch: String, panel: String, specimen: String, value: Option<f64>, reason: String }
    BasisOutlier { within: String, batch: String, specimen: Option<String>, value: f64, residual: f64, critical: f64 }
    BasisStep { step: usize, title: String, shows: Vec<String>, decision: String }
    BasisSample { of: String, showing: Option<String>, unit: String, n: usize, batches: usize, data: Vec<BasisBatch>, rejected: Vec<BasisRejected>, modes: BTreeMap<String, usize>, notes: Vec<String>, refused: Option<String>, mean: Option<f64>, sd: Option<f64>, cv: Option<f64>, outliers: Option<Vec<BasisOutlier>>, poolable: Option<bool>, distribution: Option<String>, method: Option<String>, B_basis: Option<f64>, A_basis: Option<f64>, estimate: Option<bool>, A_estimate: Option<bool>, steps: Vec<BasisStep> }
    BasisTest { statistic: f64, critical: f64, holds: bool }
    BasisEnvironment { of: String, n: usize, mean: f64, k_B: f64, k_A: f64, B_basis: Option<f64>, A_basis: Option<f64>, estimate: bool, A_estimate: bool, outliers: Vec<BasisOutlier>, one_population: Option<BasisTest>, equal_spread: Option<BasisTest> }
    BasisPooled { may_be_pooled: bool, against: Vec<String>, open: Vec<String>, cv: f64, freedom: usize, levene: f64, levene_critical: f64, normal_level: f64, environments: Vec<BasisEnvironment> }
    BasisSeveral { schema: String, samples: Vec<BasisSample>, pooled: BasisPooled, between: Option<BasisBetween>, caution: String, report: Option<Report> }
    BasisBetween { at: String, B_basis: Option<f64>, A_basis: Option<f64>, estimate: bool, A_estimate: bool, refused: Vec<String> }
    BasisBaseline { of: String, batches: usize, data: Vec<BasisBatch>, rejected: Vec<BasisRejected>, outliers: Vec<BasisOutlier>, notes: Vec<String>, complete: bool, lacks: Vec<String>, n: usize, mean: f64, sd: f64 }
    BasisPower { shift_sd: f64, power: f64 }
    BasisEquivalence { schema: String, kind: String, showing: String, unit: String, of: String, batches: usize, data: Vec<BasisBatch>, rejected: Vec<BasisRejected>, outliers: Vec<BasisOutlier>, notes: Vec<String>, complete: bool, lacks: Vec<String>, alpha: f64, n: usize, panels: usize, mean: f64, sd: f64, min: f64, baseline: BasisBaseline, test: String, k_mean: Option<f64>, k_min: Option<f64>, limit_mean: Option<f64>, limit_min: Option<f64>, min_holds: Option<bool>, pooled_sd: Option<f64>, t: Option<f64>, limit_low: Option<f64>, limit_high: Option<f64>, mean_holds: bool, equivalent: bool, power: Vec<BasisPower>, advised_n: Option<usize>, steps: Vec<BasisStep>, caution: String, report: Report }

    NextPart { name: String, closed: usize, of: usize, conceded: usize }
    WorthOf { panels: f64, milestones: f64, mass: f64, duties: f64 }
    NextTest { showing: String, build: String, kind: String, closes: Vec<Stands>, prerequisites: Vec<String>, specimens: u32, test_panels: u32, weeks: f64, cost: Option<f64>, missing: Vec<String>, panels: Vec<NextPart>, releasable: Vec<String>, releasable_kg: f64, milestones: Vec<NextPart>, milestones_completed: Vec<String>, begins: Vec<Stands>, unlocked_kg: f64, others: usize, worth: f64, worth_of: WorthOf, worth_per_week: f64, worth_per_thousand: Option<f64> }
    PointLapse { showing: String, subject: String, now: String, asks: String, panels: Vec<String> }
    SinglePoint { evidence: String, showing: String, lapses: Vec<PointLapse>, panels: Vec<String>, released: Vec<String> }
    Next { schema: String, milestone: Option<String>, duties: Vec<Gap>, counts: BTreeMap<String, usize>, asked_of_nothing: Vec<String>, altered: BTreeMap<String, usize>, trials: Vec<Trial>, next: Vec<NextTest>, single_points: Vec<SinglePoint>, caution: String, report: Report }
}

/// A sample of one, with the head that a whole document has besides.
#[derive(Debug, Deserialize)]
struct Basis {
    schema: String,
    caution: String,
    report: Option<Report>,
    between: Option<BasisBetween>,
    #[serde(flatten)]
    rest: serde_json::Map<String, Value>,
}

impl Basis {
    fn sample(&self) -> BasisSample {
        assert!(!self.caution.is_empty());
        serde_json::from_value(Value::Object(self.rest.clone())).unwrap()
    }
}

/// As [`near`], to nine digits of the greater.
#[track_caller]
fn close(one: f64, two: f64) {
    assert!((one - two).abs() <= 1e-9 * one.abs().max(two.abs()).max(1e-9), "{one} is not {two}");
}

/// Bases of golden cases with the case's own files over them.
fn golden(base: &str, case: &str) -> Bench {
    let bench = Bench::new();
    layout::lay_base(base, &bench.ledger());
    let own = crate::support::root().join("tests/golden").join(case);
    for list in std::fs::read_to_string(own.join("removed")).iter() {
        for file in list.lines() {
            std::fs::remove_file(bench.ledger().join(file)).unwrap();
        }
    }
    for file in crate::support::files(&own.join("ledger")) {
        bench.write(&file, &std::fs::read_to_string(own.join("ledger").join(&file)).unwrap());
    }
    bench
}

#[test]
fn a_panel_agrees_with_the_statement_its_laminate_and_its_duties() {
    let bench = Bench::example();
    let panel: Panel = read(&bench, "panel bow-hatch", 0);
    assert_eq!((panel.schema.as_str(), panel.released), ("panel/1", true));
    let mass: Mass = read(&bench, "mass bow-hatch", 0);
    let (own, stated) = (panel.mass.as_ref().unwrap(), &mass.panels[0]);
    near(own.each_kg, stated.each_kg);
    near(own.contributions.iter().map(|one| one.kg).sum(), own.each_kg);
    // The cost is the sum of its lines, by sort and in all.
    let cost = panel.cost.as_ref().unwrap();
    let of = |sort: &str| -> f64 {
        cost.lines.iter().filter(|line| line.sort == sort).filter_map(|line| line.cost).sum()
    };
    close(of("material"), cost.materials_cost);
    close(of("mould"), cost.moulds_cost);
    close(of("labour"), cost.labour_cost);
    close(cost.materials_cost + cost.moulds_cost + cost.labour_cost, cost.cost);
    close(cost.lines.iter().filter_map(|line| line.labour_h).sum(), cost.labour_h);
    assert_eq!(cost.at_least, !cost.missing.is_empty());
    // The least margin is the least of all; the laminate names the same ones for this panel.
    let least = panel.margins.iter().map(|own| own.margin).fold(f64::INFINITY, f64::min);
    assert_eq!(panel.least_margin.as_ref().unwrap().margin, least);
    let laminate: Laminate = read(&bench, "laminate hatch-outer", 0);
    let mut same = 0;
    for load in
        laminate.loads.iter().filter(|load| load.panel == "bow-hatch" && load.place.starts_with("zone "))
    {
        let twin = panel.margins.iter().find(|own| {
            (&own.case, &own.place, &own.criterion, &own.mode)
                == (&load.case, &load.place, &load.criterion, &load.mode)
        });
        close(twin.unwrap_or_else(|| panic!("{load:?}")).margin, load.margin);
        same += 1;
    }
    assert!(same > 4, "{same}");
    for plate in &panel.plates {
        // A deflection over the thickness of the whole laminate.
        close(plate.deflection_mm.unwrap() / plate.deflection_over_thickness.unwrap(), laminate.thickness_mm);
        assert_eq!(plate.linear, plate.deflection_over_thickness.unwrap() <= 0.5);
    }
    let section = panel.section.as_ref().unwrap();
    let lost = section.pane_lost.as_ref().unwrap();
    close(section.GJ_N_mm2 / lost.GJ_N_mm2, lost.GJ_whole_over_lost);
    for own in [&section.whole, &lost.stiffness] {
        // Turning the axes keeps the sum, and the product less the square of what is mixed.
        close(own.EI_y_N_mm2 + own.EI_z_N_mm2, own.EI_max_N_mm2 + own.EI_min_N_mm2);
        close(own.EI_y_N_mm2 * own.EI_z_N_mm2 - own.EI_yz_N_mm2.powi(2), own.EI_max_N_mm2 * own.EI_min_N_mm2);
    }
    for heat in &panel.temperatures {
        assert!(heat.structural_degC <= heat.ramp_degC, "more wind makes no skin hotter");
        for limit in &heat.limits {
            let skin = if limit.against == "ramp" { heat.ramp_degC } else { heat.structural_degC };
            let kept = limit.degC - skin - limit.spare_K;
            // 28 K above the skin for a wet glass transition (MIL-HDBK-17, from memory; FAA policy PS-ACE100-2-18-1999, read
            // in quotation), else nothing.
            let asked = if limit.what.starts_with("wet Tg") { 28.0 } else { 0.0 };
            assert!((kept - asked).abs() < 1e-6, "{limit:?}: {kept}");
        }
    }
    for own in &panel.moisture {
        // Through one face it takes as long as through both of twice the thickness.
        close(own.t95_one_face_d, 4.0 * own.t95_both_faces_d);
    }
    // Each duty as the showing's own answer has it of this panel.
    assert!(panel.duties.len() > 20);
    for duty in panel.duties.iter().step_by(6) {
        let why: WhyDuty = read_of(&bench, &["why", &duty.showing, &duty.subject], 0);
        let own = why.panels.iter().find(|own| own.panel.as_deref() == Some("bow-hatch")).unwrap();
        assert_eq!((&own.verdict, &own.asks), (&duty.verdict, &duty.asks), "{duty:?}");
    }
    sorted(panel.duties.iter().map(|duty| (duty.showing.clone(), duty.subject.clone())));
}

/// What any sample says of its own values.
#[track_caller]
fn adds_up(sample: &BasisSample) {
    let values: Vec<f64> = sample.data.iter().flat_map(|batch| batch.values.clone()).collect();
    let n = values.len() as f64;
    assert_eq!((sample.n, sample.batches), (values.len(), sample.data.len()));
    let mean = values.iter().sum::<f64>() / n;
    let sd = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    close(sample.mean.unwrap(), mean);
    close(sample.sd.unwrap(), sd);
    close(sample.cv.unwrap(), sd / mean);
    let (b, a) = (sample.B_basis.unwrap(), sample.A_basis.unwrap());
    assert!(a < b && b < mean, "{a} {b} {mean}");
    // 18 of 3 batches for B and 55 of 5 for A (MIL-HDBK-17-1F 8.2, from memory).
    assert_eq!(sample.estimate, Some(sample.n < 18 || sample.batches < 3));
    assert_eq!(sample.A_estimate, Some(sample.n < 55 || sample.batches < 5));
    assert!(sample.steps.iter().map(|step| step.step).eq(1..=sample.steps.len()));
}

#[test]
fn design_values_agree_with_their_specimens_and_with_what_margins_take() {
    let bench = Bench::example();
    let basis: Basis = read(&bench, "basis e-004", 0);
    assert_eq!((basis.schema.as_str(), basis.between.is_some()), ("basis/1", false));
    assert!(basis.report.is_some());
    let sample = basis.sample();
    adds_up(&sample);
    // What was rejected stands in that line of the file.
    let data = bench.read("evidence/data/tr-004.csv");
    assert_eq!(data.lines().count() - 1, sample.n + sample.rejected.len());
    let out = &sample.rejected[0];
    let line = data.lines().nth(out.line - 1).unwrap();
    assert!(
        [&out.specimen, &out.reason].into_iter().all(|own| line.contains(own.as_str())),
        "{line}: {out:?}"
    );
    // The margin counts with the B value of just this sample.
    let panel: Panel = read(&bench, "panel bow-hatch", 0);
    let used = panel.values.iter().find(|own| own.what == "Xc of material/cw-200-e1").unwrap();
    assert_eq!(used.evidence.as_deref(), Some(&["e-004".to_string()][..]));
    assert_eq!(
        (used.statistic.as_deref(), used.method.as_deref()),
        (Some("B-basis"), sample.method.as_deref())
    );
    close(used.value_si, 1e6 * sample.B_basis.unwrap());
}

#[test]
fn environments_pooled_and_an_equivalence_agree_with_their_samples() {
    let bench = Bench::new();
    for file in ["dry.csv", "wet.csv"] {
        let path = crate::support::root().join("tests/golden/basis/environments/ledger").join(file);
        bench.write(file, &std::fs::read_to_string(path).unwrap());
    }
    let several: BasisSeveral = read(&bench, "basis dry.csv wet.csv", 0);
    assert_eq!(
        (several.schema.as_str(), several.report.is_none(), several.between.is_none()),
        ("basis/1", true, true)
    );
    let pooled = &several.pooled;
    assert!(pooled.may_be_pooled && pooled.against.is_empty());
    assert_eq!(pooled.freedom, several.samples.iter().map(|own| own.n - 1).sum::<usize>());
    let mut squares = 0.0;
    for (sample, own) in several.samples.iter().zip(&pooled.environments) {
        adds_up(sample);
        assert_eq!((&own.of, own.n), (&sample.of, sample.n));
        close(own.mean, sample.mean.unwrap());
        close(own.B_basis.unwrap(), own.mean * (1.0 - own.k_B * pooled.cv));
        close(own.A_basis.unwrap(), own.mean * (1.0 - own.k_A * pooled.cv));
        for test in [&own.one_population, &own.equal_spread].into_iter().flatten() {
            assert_eq!(test.holds, test.statistic <= test.critical, "{test:?}");
        }
        squares += (sample.n - 1) as f64 * sample.cv.unwrap().powi(2);
    }
    assert!(pooled.levene <= pooled.levene_critical);
    close(pooled.cv, (squares / pooled.freedom as f64).sqrt());

    let bench = golden("carried", "basis/equivalence");
    let own: BasisEquivalence = read(&bench, "basis e-011", 0);
    assert_eq!((own.schema.as_str(), own.kind.as_str()), ("basis/1", "equivalence"));
    let values: Vec<f64> = own.data.iter().flat_map(|batch| batch.values.clone()).collect();
    assert_eq!(own.n, values.len());
    close(own.mean, values.iter().sum::<f64>() / own.n as f64);
    close(own.min, values.iter().copied().fold(f64::INFINITY, f64::min));
    let (limit_mean, limit_min) = (own.limit_mean.unwrap(), own.limit_min.unwrap());
    close(limit_mean, own.baseline.mean - own.k_mean.unwrap() * own.baseline.sd);
    close(limit_min, own.baseline.mean - own.k_min.unwrap() * own.baseline.sd);
    assert_eq!((own.mean_holds, own.min_holds.unwrap()), (own.mean >= limit_mean, own.min >= limit_min));
    let holds = own.mean_holds && own.min_holds.unwrap();
    assert_eq!(own.equivalent, holds && own.complete && own.baseline.complete);
    assert!(
        own.t.is_none() && own.pooled_sd.is_none() && own.limit_low.is_none() && own.limit_high.is_none()
    );
    // The baseline alone says the same of itself.
    let alone: Basis = read(&bench, "basis e-010", 0);
    let alone = alone.sample();
    assert_eq!(alone.n, own.baseline.n);
    close(alone.mean.unwrap(), own.baseline.mean);
    close(alone.sd.unwrap(), own.baseline.sd);
    // A greater shift is found more often.
    let found: Vec<f64> = own.power.iter().map(|one| one.power).collect();
    assert!(found.len() == 3 && found.is_sorted() && found[0] > own.alpha, "{found:?}");
}

/// Of a modulus the mean alone is looked at, on both sides: t sp sqrt(1/n0 + 1/n) about the baseline's.
#[test]
fn an_equivalence_of_means_agrees_with_its_samples() {
    let bench = golden("carried", "basis/equivalence-modulus");
    let own: BasisEquivalence = read(&bench, "basis e-005", 0);
    assert_eq!((own.kind.as_str(), own.test.as_str()), ("equivalence", "two-sided-mean"));
    assert!(
        own.k_mean.is_none() && own.k_min.is_none() && own.limit_min.is_none() && own.min_holds.is_none()
    );
    let (n0, n) = (own.baseline.n as f64, own.n as f64);
    let squares = (n0 - 1.0) * own.baseline.sd.powi(2) + (n - 1.0) * own.sd.powi(2);
    close(own.pooled_sd.unwrap(), (squares / (n0 + n - 2.0)).sqrt());
    let reach = own.t.unwrap() * own.pooled_sd.unwrap() * (1.0 / n0 + 1.0 / n).sqrt();
    let (low, high) = (own.limit_low.unwrap(), own.limit_high.unwrap());
    close(low, own.baseline.mean - reach);
    close(high, own.baseline.mean + reach);
    assert_eq!(own.mean_holds, (low..=high).contains(&own.mean));
}

#[test]
fn a_value_between_two_temperatures_lies_between_theirs() {
    let bench = Bench::example();
    let several: BasisSeveral = read_of(&bench, &["basis", "e-002", "e-003", "--between", "-10 degC"], 0);
    let between = several.between.as_ref().unwrap();
    assert_eq!(between.at, "-10 degC");
    let [one, two] = several.samples.as_slice() else { panic!("{}", several.samples.len()) };
    // Each end as it stands alone: 21 degC of the one, -54 degC of the other.
    let at = |warm: f64, cold: f64| cold + (warm - cold) * 44.0 / 75.0;
    close(between.B_basis.unwrap(), at(one.B_basis.unwrap(), two.B_basis.unwrap()));
    close(between.A_basis.unwrap(), at(one.A_basis.unwrap(), two.A_basis.unwrap()));
    assert_eq!((between.estimate, between.A_estimate), (false, true));
    assert!(between.refused.is_empty());
}

#[test]
fn the_next_tests_are_ranked_by_what_they_close() {
    let bench = Bench::example();
    let next: Next = read(&bench, "gaps --next", 0);
    let all: Gaps = read(&bench, "gaps --all", 0);
    assert_eq!((next.schema.as_str(), &next.counts), ("gaps/1", &all.counts));
    let unmet = |one: &Stands| {
        all.duties
            .iter()
            .any(|gap| (&gap.showing, &gap.subject) == (&one.showing, &one.subject) && gap.verdict != "met")
    };
    assert!(next.next.len() > 8);
    let mut until: BTreeMap<String, usize> = BTreeMap::new();
    for test in &next.next {
        assert!(!test.closes.is_empty() && test.closes.iter().all(unmet), "{}", test.showing);
        let panels: f64 = test.panels.iter().map(|part| part.closed as f64 / part.of as f64).sum();
        // Each duty at the first milestone that needs it: what is closed more than for the milestone before.
        let before = std::iter::once(0).chain(test.milestones.iter().map(|part| part.closed));
        let milestones = test.milestones.iter().zip(before);
        let first: f64 =
            milestones.map(|(part, before)| (part.closed - before) as f64 / part.of as f64).sum();
        let own = &test.worth_of;
        close(own.panels, panels);
        close(own.milestones, first);
        assert!((0.0..=1.0).contains(&own.mass) && (0.0..=1.0).contains(&own.duties), "{}", test.showing);
        assert!(own.mass > 0.0 || test.panels.is_empty(), "{}", test.showing);
        assert_eq!(own.duties > 0.0, test.others > 0, "{}", test.showing);
        close(test.worth, panels + first + own.mass + own.duties);
        // Both numbers together are what `gaps` says is not met until then.
        for part in &test.milestones {
            let count = || read::<Gaps>(&bench, &format!("gaps --milestone {}", part.name), 0).duties.len();
            let until = *until.entry(part.name.clone()).or_insert_with(count);
            assert_eq!(part.of + part.conceded, until, "{}", part.name);
        }
        close(test.worth_per_week, test.worth / test.weeks.max(1.0));
        match (test.worth_per_thousand, test.cost) {
            (Some(own), Some(cost)) => close(own, test.worth / (cost / 1000.0)),
            (own, cost) => assert!(own.is_none() && cost.is_none_or(|cost| cost == 0.0), "{own:?} {cost:?}"),
        }
        assert_eq!(test.cost.is_none(), !test.missing.is_empty(), "{}", test.showing);
        let whole = |parts: &[NextPart]| -> Vec<String> {
            parts.iter().filter(|part| part.closed == part.of).map(|part| part.name.clone()).collect()
        };
        assert_eq!(
            (whole(&test.panels), whole(&test.milestones)),
            (test.releasable.clone(), test.milestones_completed.clone())
        );
        assert_eq!(test.releasable_kg > 0.0, !test.releasable.is_empty());
    }
    assert!(next.next.windows(2).all(|pair| pair[0].worth_per_week >= pair[1].worth_per_week - 1e-12));
    let released = |name: &str| bench.read(&format!("panels/{name}.yaml")).contains("released: true");
    assert!(!next.single_points.is_empty());
    for point in &next.single_points {
        let mut panels: Vec<&String> = point.lapses.iter().flat_map(|lapse| &lapse.panels).collect();
        panels.sort();
        panels.dedup();
        assert_eq!(panels, point.panels.iter().collect::<Vec<_>>(), "{}", point.evidence);
        let own: Vec<&String> = point.panels.iter().filter(|name| released(name)).collect();
        assert_eq!(own, point.released.iter().collect::<Vec<_>>(), "{}", point.evidence);
    }
}
