//! An invented programme of a chosen size, laid as a git repository with two commits or more.
//!
//! Everything is worked out from counters: the same number of records gives the same bytes. The programme
//! falls into families that share nothing, as the panels of a real one fall into stations; each has its
//! materials, recipes, panels and showings. Evidence is conformed by the library itself, against the design
//! as it stood before some of it moved on, so that most of it still holds and some has lapsed.

use bondline::ledger::{Ledger, MemoryFiles, MemoryRecall};
use bondline::qualify::conform::conformity;
use bondline::qualify::verdict::{DutyKey, evaluate};
use bondline::record::Day;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// Records of a whole programme that a family stands for.
const FAMILY: usize = 400;
/// Evidence records per family.
const EVIDENCE: usize = 248;
const HEADER: &str = "# Invented for measuring: not a real aircraft, material or test.\n";
const DAY: &str = "2026-06-01";

type Error = Box<dyn std::error::Error + Send + Sync>;
/// Texts by path.
pub type Tree = BTreeMap<String, Vec<u8>>;

/// Which state of the design a family is written in.
#[derive(Clone, Copy, PartialEq)]
enum Stage {
    /// As it was when the tests were made.
    Tested,
    /// As it is in the first commit: some of it has moved on since.
    Now,
}

/// Returns the texts of a ledger of about `records` records, in 400s.
pub fn tree(records: usize) -> Result<Tree, Error> {
    let families = (records / FAMILY).max(1);
    let made: Vec<Result<Tree, Error>> =
        (0..families).into_par_iter().map(|family| whole_family(family)).collect();
    let mut all = Tree::new();
    for one in made {
        all.extend(one?);
    }
    all.insert("ledger.yaml".to_string(), head().into_bytes());
    Ok(all)
}

/// Returns what the last commit changes: one material and two recipes.
pub fn second(tree: &Tree) -> Result<Tree, Error> {
    let mut changed = Tree::new();
    edit(tree, &mut changed, "materials/f000-prepreg-2.yaml", "content: 38 %", "content: 40 %")?;
    edit(tree, &mut changed, "recipes/f000-skin-05.yaml", "angle: 45}", "angle: 30}")?;
    edit(tree, &mut changed, "recipes/f000-skin-10.yaml", "thickness: 6 mm", "thickness: 8 mm")?;
    Ok(changed)
}

/// Returns three changed files, as someone stages them: a recipe, a finish, a panel.
pub fn staged(tree: &Tree) -> Result<Tree, Error> {
    let mut changed = Tree::new();
    edit(tree, &mut changed, "recipes/f000-skin-07.yaml", "angle: 45}", "angle: 30}")?;
    edit(tree, &mut changed, "finishes/f000-dark.yaml", "dry_film: 45 um", "dry_film: 50 um")?;
    edit(tree, &mut changed, "panels/f000-panel-20.yaml", "overlap: 3 %", "overlap: 4 %")?;
    Ok(changed)
}

fn edit(tree: &Tree, changed: &mut Tree, path: &str, from: &str, to: &str) -> Result<(), Error> {
    let text = std::str::from_utf8(tree.get(path).ok_or_else(|| format!("no {path}"))?)?;
    if !text.contains(from) {
        return Err(format!("`{from}` does not stand in {path}").into());
    }
    changed.insert(path.to_string(), text.replacen(from, to, 1).into_bytes());
    Ok(())
}

/// Returns what one of the commits between the first and the last changes: what the zones of one panel lap over.
fn between(tree: &Tree, step: usize) -> Result<Tree, Error> {
    let families = tree.keys().filter(|path| path.ends_with("-panel-21.yaml")).count().max(1);
    let path = format!("panels/f{:03}-panel-21.yaml", step % families);
    let text = std::str::from_utf8(tree.get(&path).ok_or_else(|| format!("no {path}"))?)?;
    let (before, rest) = text.split_once("overlap: ").ok_or_else(|| format!("no overlap in {path}"))?;
    let (_, behind) = rest.split_once(" %").ok_or_else(|| format!("no overlap in {path}"))?;
    let text = format!("{before}overlap: {} %{behind}", 3 + (step / families + 1) % 5);
    Ok(Tree::from([(path, text.into_bytes())]))
}

/// Lays a ledger of about `records` records as a repository with so many commits, at least two, its work tree clean.
pub fn repository(target: &Path, records: usize, commits: usize) -> Result<Tree, Error> {
    if target.exists() && target.read_dir()?.next().is_some() {
        return Err(format!("{} is not empty", target.display()).into());
    }
    let mut all = tree(records)?;
    let mut options = git2::RepositoryInitOptions::new();
    options.initial_head("main").external_template(false);
    let repository = git2::Repository::init_opts(target, &options)?;
    let mut parent = None;
    let mut index = repository.index()?;
    let last = commits.max(2) - 1;
    for step in 0..=last {
        let texts = match step {
            0 => all.clone(),
            _ if step == last => second(&all)?,
            _ => between(&all, step)?,
        };
        for (path, bytes) in &texts {
            let place = target.join(path);
            std::fs::create_dir_all(place.parent().ok_or("no folder")?)?;
            std::fs::write(&place, bytes)?;
            index.add_path(Path::new(path))?;
        }
        index.write()?;
        let tree = repository.find_tree(index.write_tree()?)?;
        let when = git2::Time::new(1_780_000_000 + 600 * i64::try_from(step)?, 0);
        let who = git2::Signature::new("Nobody (invented)", "nobody@sanderling.invalid", &when)?;
        let parents: Vec<git2::Commit<'_>> =
            parent.map(|id| repository.find_commit(id)).transpose()?.into_iter().collect();
        let parents: Vec<&git2::Commit<'_>> = parents.iter().collect();
        let message = match step {
            0 => "The programme".to_string(),
            _ if step == last => "A richer prepreg and two recipes".to_string(),
            _ => format!("Step {step}: another lap"),
        };
        parent = Some(repository.commit(Some("HEAD"), &who, &who, &message, &tree, &parents)?);
        all.extend(texts);
    }
    Ok(all)
}

fn head() -> String {
    format!(
        "{HEADER}format: 1\nprogramme: A large amphibian (invented)\nunits: si\ncurrency: EUR\n\
         milestones: [first-article, first-flight, type-approval, production]\nreached: first-article\n\
         climate: {{ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}}\n\
         growth: {{estimated: 12 %, calculated: 5 %, weighed: 0 %, paint: 20 %, paste: 20 %}}\n\
         rates: {{specimen: 180 EUR, panel_layup: 600 EUR, lab_week: 0 EUR}}\n\
         approvals: {{decision: [chief-engineer], concession: [certification-lead]}}\n"
    )
}

/// One family with its evidence.
fn whole_family(family: usize) -> Result<Tree, Error> {
    let tested = design(family, Stage::Tested);
    let mut files = memory(&tested);
    let ledger = loaded(&files)?;
    let day = Day::parse(DAY).map_err(|words| words.to_string())?;
    let duties: Vec<DutyKey> = evaluate(&ledger, day)?.duties.into_keys().collect();
    // The duties of all showings in turn, so that what is left without evidence is spread over them.
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut turns: Vec<(usize, DutyKey)> = duties
        .into_iter()
        .map(|key| {
            let place = places.entry(key.0.clone()).or_default();
            *place += 1;
            (*place, key)
        })
        .collect();
    turns.sort();
    let mut texts = Tree::new();
    for (at, (_, key)) in turns.into_iter().take(EVIDENCE).enumerate() {
        for (path, text) in evidence(family, at, &key) {
            files.put(&path, text.clone());
            texts.insert(path, text);
        }
    }
    let ledger = loaded(&files)?;
    let mut all = design(family, Stage::Now);
    for (id, entry) in &ledger.evidence {
        let path = format!("evidence/{id}.yaml");
        let mut text = String::from_utf8(texts.remove(&path).ok_or("no text")?)?;
        if text.contains("state: done") {
            if let Some(data) = ledger.data.get(id) {
                writeln!(text, "digest: {}", data.digest)?;
            }
            text.push_str(&conformity(&ledger, entry, None)?.block());
        }
        texts.insert(path, text.into_bytes());
    }
    all.extend(texts);
    Ok(all)
}

fn memory(tree: &Tree) -> MemoryFiles {
    let mut files = MemoryFiles::new();
    files.put("ledger.yaml", head());
    for (path, bytes) in tree {
        files.put(path, bytes.clone());
    }
    files
}

fn loaded(files: &MemoryFiles) -> Result<Ledger, Error> {
    let ledger = Ledger::load(files, &MemoryRecall::new());
    let errors: Vec<String> = ledger
        .faults
        .iter()
        .filter(|fault| fault.level == bondline::record::Level::Error)
        .map(|fault| format!("{}: {}", fault.place.file, fault.message))
        .take(5)
        .collect();
    if errors.is_empty() { Ok(ledger) } else { Err(errors.join("\n").into()) }
}

/// Words that make a record as long as people write them.
fn remarks(all: &mut String, what: &str, lines: usize) {
    const SAID: [&str; 6] = [
        "Agreed with the laminate engineer at the design review; see the minutes in the programme's file.",
        "The figure was read off the drawing and checked against the first article's weighing report.",
        "Do not change without a decision: panels that are released rest on it, and their tests with them.",
        "Earlier issues of this record are in the history; the supplier confirmed the values in writing.",
        "Left as it is until the next block point, when the tooling is due for its survey anyway.",
        "Compared with the neighbouring station, which has the same lay-up but another exposure.",
    ];
    for at in 0..lines {
        let _ = writeln!(all, "# {what}: {}", SAID.get(at % SAID.len()).copied().unwrap_or_default());
    }
}

fn design(family: usize, stage: Stage) -> Tree {
    let f = format!("f{family:03}");
    let mut tree = Tree::new();
    let mut put = |folder: &str, id: &str, what: &str, lines: usize, text: String| {
        let mut all = HEADER.to_string();
        remarks(&mut all, what, lines);
        all.push_str(&text);
        tree.insert(format!("{folder}/{f}-{id}.yaml"), all.into_bytes());
    };
    let now = stage == Stage::Now;
    materials(&f, family, now, &mut put);
    put(
        "processes",
        "oven",
        "oven",
        6,
        format!(
            "title: Vacuum bag in the oven\nmethod: oven\ncure:\n  - {{ramp: 2 K/min, to: 80 degC, hold: 45 min}}\n  \
         - {{ramp: 2 K/min, to: 120 degC, hold: {} min}}\nvacuum: 90 kPa\nmax_out_time: 15 d\nsite: hall {}\n",
            90 + family % 4 * 5,
            family % 3 + 1
        ),
    );
    put("processes", "bond", "bond", 6,
        "title: Paste bond\nmethod: bond\ncure:\n  - {to: 23 degC, hold: 24 h}\npostcure:\n  - {ramp: 0.5 K/min, to: 60 degC, hold: 6 h}\n\
         surface_preparation: abraded with 120 grit, wiped twice, bonded within 2 h\nsite: hall 2\n".to_string());
    for at in 0..3 {
        put(
            "tools",
            &format!("pattern-{at}"),
            "pattern",
            5,
            format!(
                "title: Pattern {at}\nkind: pattern\nbody: epoxy tooling board\ncte: 45e-6 1/K\ntg: 105 degC\n\
                     surface: sanded with 800 grit\nsealed: two-part sealer\n"
            ),
        );
        put(
            "tools",
            &format!("mould-{at}"),
            "mould",
            5,
            format!(
                "title: Mould {at}\nkind: mould\nfrom: {f}-pattern-{at}\nbody: carbon on high-temperature epoxy\n\
                     cte: 3.5e-6 1/K\ntg: 185 degC\nsurface: tooling gelcoat, sanded with 1200 grit\n\
                     sealed: semi-permanent release\nsurvey: TS-{family:03}{at} issue 1\npulls: {{expected: 150, made: {at}}}\n"
            ),
        );
    }
    for (id, absorptance, film) in [("white", "0.30", 25), ("sand", "0.45", 20), ("dark", "0.55", 20)] {
        // The primer of the dark finish was sprayed thicker after the tests.
        let primer = if now && id == "dark" { 33 } else { 25 };
        put(
            "finishes",
            id,
            id,
            6,
            format!(
                "title: Finish {id}\ncolour: {{name: {id}, solar_absorptance: {absorptance}, emittance: 0.90}}\nrepaint: 60 um\ncoats:\n  \
             - {{material: {f}-filler, dry_film: 40 um (0 .. 80 um), removed: 25 um}}\n  \
             - {{material: {f}-primer, dry_film: {primer} um +/- 8 um}}\n  \
             - {{material: {f}-base, dry_film: {film} um +/- 5 um}}\n  \
             - {{material: {f}-clear, dry_film: 45 um +/- 10 um, removed: 5 um}}\n"
            ),
        );
    }
    recipes(&f, now, &mut put);
    panels(&f, &mut put);
    showings(&f, &mut put);
    for (at, name) in ["fore", "aft"].iter().enumerate() {
        let list: String = (at * 30..at * 30 + 30)
            .fold(String::new(), |all, panel| all + &format!("  - {{panel: {f}-panel-{panel:02}}}\n"));
        put("assemblies", name, name, 0, format!("title: Station {name}\nchildren:\n{list}group: {f}\n"));
    }
    put(
        "decisions",
        "dd-1",
        "decision",
        4,
        format!(
            "title: Richer prepreg\nstatus: approved\nraised: 2026-05-18\nwhy: |\n  At 37 % one mould in ten still shows dry spots under the surfacing film.\n\
         options:\n  - Stay at 37 % and fill the dry spots by hand.\nchanges:\n  \
         - {{set: material/{f}-prepreg-1#resin.content, was: 37 % +/- 2 %, to: 39.5 % +/- 2 %}}\n\
         approvals:\n  - {{role: chief-engineer, on: 2026-05-29}}\n"
        ),
    );
    put(
        "concessions",
        "cc-1",
        "concession",
        4,
        format!(
            "title: Thin film on the first article\nshowing: {f}-paint-adhesion\nsubject: {{painted: [{f}-skin-02, {f}-dark]}}\n\
         reason: |\n  The film is thicker than tested on one serial.\ncovers: {{film-build.max: {{at_most: 300 um}}}}\nserials: [S-01]\n\
         until: 2027-06-01\napprovals:\n  - {{role: certification-lead, on: 2026-05-29}}\n"
        ),
    );
    put(
        "weighings",
        "w-1",
        "weighing",
        4,
        format!(
            "title: Panel on the scale\npanel: {f}-panel-03\nserial: S-01\nmass: 4.08 kg\non: 2026-05-29\nas_built: {{predicted: 4.0 kg}}\n\
         condition: painted\n"
        ),
    );
    tree
}

type Put<'a> = dyn FnMut(&str, &str, &str, usize, String) + 'a;

fn materials(f: &str, family: usize, now: bool, put: &mut Put<'_>) {
    for at in 0..4 {
        // In a fifth of the families one of four prepregs was made richer after the tests.
        let content = match (at, now && family.is_multiple_of(5)) {
            (1, true) => "39.5".to_string(),
            (1, false) => "37".to_string(),
            _ => (36 + at).to_string(),
        };
        put(
            "materials",
            &format!("prepreg-{at}"),
            "prepreg",
            3,
            format!(
                "title: Carbon prepreg {at}\nkind: prepreg\nform: twill\n\
             fibre: {{name: hs-{family}-{at}, type: carbon, density: 1790 kg/m3, areal: {areal} g/m2 +/- 4 %}}\n\
             resin: {{name: ep-{family}, density: 1240 kg/m3, content: {content} % +/- 2 %, family: epoxy}}\n\
             out_life: 30 d\nimpregnation: hot-melt line 2\nsupplier: supplier {supplier}\nsite: plant north\ndiffusivity: 4e-7 mm2/s\n\
             lamina:\n  E1: 56 GPa\n  E2: 56 GPa\n  G12: 3.9 GPa\n  nu12: 0.05\n  cte1: 3.2e-6 1/K\n  cte2: 3.2e-6 1/K\n\
             strength:\n  Xt: 620 MPa\n  Xc: 320 MPa\n  Yt: 590 MPa\n  Yc: 330 MPa\n  S: 60 MPa\nprice: 46 EUR/m2\nsource: assumed\n",
                areal = 160 + 40 * at,
                supplier = family % 5 + 1
            ),
        );
    }
    for (at, density) in [(0, 52), (1, 75)] {
        put(
            "materials",
            &format!("foam-{at}"),
            "foam",
            6,
            format!(
                "title: Closed-cell foam {density}\nkind: core\ndesignation: foam-{family}-{density}\ndensity: {density} kg/m3 +/- 5 kg/m3\n\
             form: foam\nresin_uptake: 140 g/m2\nE: 70 MPa\nshear_modulus: 19 MPa\nshear_strength: 0.8 MPa\nsource: assumed\n"
            ),
        );
    }
    let simple = [
        (
            "film",
            "title: Film adhesive\nkind: adhesive\nareal: 150 g/m2 +/- 10 %\ncured_thickness: 0.12 mm\nwet_tg: 104 degC\nsupplier: supplier one\n",
        ),
        (
            "paste",
            "title: Two-part paste\nkind: adhesive\ndensity: 1120 kg/m3\nwet_tg: 96 degC\nsupplier: supplier three\n",
        ),
        (
            "mesh",
            "title: Copper mesh\nkind: mesh\nareal: 73 g/m2 +/- 10 %\nmetal: copper\nresin_fill: 55 g/m2\ncured_thickness: 0.05 mm\n",
        ),
        (
            "surfacing",
            "title: Surfacing film\nkind: surfacing\nareal: 100 g/m2 +/- 8 %\ncured_thickness: 0.08 mm\nresin_density: 1250 kg/m3\n",
        ),
        ("filler", "title: Filler\nkind: coating\nrole: filler\ndry_density: 750 kg/m3\n"),
        ("primer", "title: Primer\nkind: coating\nrole: primer\ndry_density: 1750 kg/m3\n"),
        ("base", "title: Base coat\nkind: coating\nrole: colour\ndry_density: 1500 kg/m3\n"),
        ("clear", "title: Clear coat\nkind: coating\nrole: clear\ndry_density: 1150 kg/m3\n"),
        ("latch", "title: Flush latch\nkind: part\nmass: 118 g +/- 4 g\n"),
        ("seal", "title: Seal\nkind: part\nlinear_mass: 60 g/m\n"),
    ];
    for (id, text) in simple {
        put("materials", id, id, 10, format!("{text}designation: {f}-{id}\nsource: assumed\n"));
    }
}

fn recipes(f: &str, now: bool, put: &mut Put<'_>) {
    for at in 0..48usize {
        let ply = |turn: usize, angle: i64| {
            // One recipe in four is laid from two prepregs.
            let turn = if at % 16 < 4 { turn } else { 0 };
            format!("  - {{material: {f}-prepreg-{}, angle: {angle}}}\n", (at + turn) % 4)
        };
        let mut layers = format!("  - {{material: {f}-surfacing}}\n  - {{material: {f}-mesh}}\n");
        let first = [45, 30, 60, 15, 20, 50].get(at / 8).copied().unwrap_or(45);
        layers += &(ply(0, first) + &ply(0, 0));
        for turn in 0..at % 3 {
            layers += &ply(1, if turn == 0 { 90 } else { -45 });
        }
        if at % 4 != 3 {
            // Two cores were made thicker after the tests.
            let thick = if now && matches!(at, 17 | 33) { 12 } else { 6 + at % 5 };
            layers += &format!(
                "  - {{material: {f}-film}}\n  - {{material: {f}-foam-{}, thickness: {} mm}}\n  - {{material: {f}-film}}\n",
                at % 2,
                thick
            );
        }
        layers += &(ply(1, 0) + &ply(0, 45));
        put(
            "recipes",
            &format!("skin-{at:02}"),
            "recipe",
            7,
            format!(
                "title: Skin {at}\nclass: structural\nstatus: frozen\nprocess: {f}-oven\nlayers:                                 # from the tool face inward\n{layers}owner: laminate engineer\n"
            ),
        );
    }
}

fn panels(f: &str, put: &mut Put<'_>) {
    for at in 0..60usize {
        let (outer, inner) = (at % 48, (at * 7 + 5) % 8 + 40);
        let finish = ["white", "sand", "dark"].get(at % 3).copied().unwrap_or("white");
        let lightning = if at % 3 == 0 { "\n    exposure: {lightning: 2A}" } else { "" };
        let joint = if at % 2 == 0 {
            format!(
                "joints:\n  - name: frame bond\n    adhesive: {f}-paste\n    process: {f}-bond\n    between: [outer field, frame]\n    \
                     role: structural\n    route: arrest\n    length: 3.2 m\n    width: 20 mm\n    thickness: 0.8 mm\n    squeeze_out: 20 %\n"
            )
        } else {
            String::new()
        };
        put(
            "panels",
            &format!("panel-{at:02}"),
            "panel",
            2,
            format!(
                "title: Panel {at}\ngroup: {f}\nreleased: {released}\nreleased_for: first-flight\nclass: structural\nload_path: redundant\ntool: {f}-mould-{tool}\n\
             zones:\n  - name: outer field\n    area: 0.{area} m2\n    recipe: {f}-skin-{outer:02}\n    finish: {f}-{finish}\n    centroid: [1.90 m, 0.00 m, 0.62 m]{lightning}\n  \
             - name: frame\n    area: 0.19 m2\n    recipe: {f}-skin-{inner:02}\n    centroid: [1.92 m, 0.00 m, 0.58 m]\n    exposure: {{zone: bay, sun: false}}\n{joint}\
             edges:\n  - {{name: seal, part: {f}-seal, length: 3.4 m, centroid: [1.90 m, 0.00 m, 0.58 m]}}\n\
             fittings:\n  - {{name: latches, part: {f}-latch, count: 2, at: [1.30 m, 0.00 m, 0.58 m]}}\nholes: {{largest: 6 mm}}\noverlap: 3 %\npainted: one\n\
             exposure: {{zone: outdoor, compartment: false, minimum: -54 degC}}\nloads:\n  - {{name: suction, pressure: 3.2 kPa, factor: 1.5}}\n  \
             - {{name: wave slap, pressure: {load} kPa, factor: 1.5}}\nplate: {{length: 0.9 m, width: 0.6 m, support: simply-supported}}\nmaturity: calculated\nlabour: 31 h\n",
                released = at < 20,
                tool = at % 3,
                area = 40 + at,
                load = 5 + at % 4
            ),
        );
    }
}

/// Kinds of showings of each family: id, and what follows the title.
const SHOWINGS: [(&str, &str); 10] = [
    (
        "lamina-tension",
        "kind: lamina-strength-fibre\naccept: {basis: B, at_least: 620 MPa}\nenvironment: {name: RTD, temperature: 21 degC, moisture: as-fabricated}\nplan: {batches: 3, panels_per_batch: 2, specimens: 18, weeks: 1, cost: 90 EUR, layup: 2, equivalence: {specimens: 8, panels: 2}}\nneeded_by: first-flight\n",
    ),
    (
        "lamina-compression",
        "kind: lamina-strength-fibre\naccept: {basis: B, at_least: 320 MPa}\nenvironment: {name: ETW, temperature: 82 degC, moisture: equilibrium, bounds: hot}\nplan: {batches: 3, panels_per_batch: 2, specimens: 18, weeks: 2, conditioning: {to: 95 %, coupon_thickness: 2.5 mm}, cost: 150 EUR, layup: 2, equivalence: {specimens: 8, panels: 2}}\nafter: [F-wet-tg]\nneeded_by: first-flight\n",
    ),
    (
        "wet-tg",
        "kind: glass-transition\naccept: {above_skin_by: 28 K}\nenvironment: {name: wet, moisture: equilibrium}\nplan: {specimens: 1, weeks: 1, conditioning: {to: 95 %, coupon_thickness: 2 mm}, cost: 140 EUR, layup: 1, equivalence: {specimens: 6, panels: 2}}\nneeded_by: first-flight\n",
    ),
    (
        "core-shear",
        "kind: core-shear\naccept: {basis: B, at_least: 0.6 MPa}\nenvironment: {name: RTD, temperature: 21 degC, moisture: as-fabricated}\nplan: {batches: 3, panels_per_batch: 2, specimens: 18, weeks: 1, cost: 120 EUR, layup: 2, equivalence: {specimens: 8, panels: 2}}\nsensitivity:\n  core-thickness: [{within: 15 %, asks: none}, {asks: equivalence}]\nneeded_by: first-flight\n",
    ),
    (
        "residual-compression",
        "kind: compression-after-impact\naccept: {basis: B, at_least: 120 MPa}\nenvironment: {name: RTD, temperature: 21 degC, moisture: as-fabricated}\nplan: {batches: 3, panels_per_batch: 1, specimens: 9, weeks: 2, cost: 250 EUR, layup: 2, equivalence: {specimens: 8, panels: 2}}\nneeded_by: type-approval\n",
    ),
    (
        "physicals",
        "kind: physicals\naccept: {all_at_most: 2 %}\nplan: {specimens: 1, weeks: 0.5, cost: 60 EUR, layup: 1, equivalence: {specimens: 6, panels: 2}}\nneeded_by: first-article\n",
    ),
    (
        "lightning",
        "kind: lightning\naccept: {statement: true}\nplan: {specimens: 1, weeks: 2, cost: 5200 EUR, lead: 6, layup: 2, specimens_per_panel: 1, spares: 0 %, equivalence: {specimens: 1, panels: 1}}\nneeded_by: type-approval\n",
    ),
    (
        "paint-adhesion",
        "kind: paint-adhesion\naccept: {rating_at_least: 4}\nplan: {specimens: 1, weeks: 1, cost: 60 EUR, layup: 1, specimens_per_panel: 4, equivalence: {specimens: 1, panels: 1}}\nneeded_by: first-flight\n",
    ),
    (
        "lap-shear",
        "kind: bond-shear\naccept: {all_at_least: 8 MPa}\nenvironment: {name: ETW, temperature: 82 degC, moisture: equilibrium, bounds: hot}\nplan: {specimens: 1, weeks: 2, conditioning: {to: 95 %, coupon_thickness: 2 mm}, cost: 90 EUR, layup: 2, equivalence: {specimens: 8, panels: 2}}\nneeded_by: first-flight\n",
    ),
    (
        "static-strength",
        "kind: static-strength\naccept: {margin_at_least: 0}\nenvironment: {name: RTD, temperature: 21 degC, moisture: as-fabricated}\nplan: {specimens: 1, weeks: 8, cost: 6000 EUR, layup: 3, specimens_per_panel: 1, spares: 0 %}\nrests_on: [F-lamina-compression]\nneeded_by: first-flight\n",
    ),
];

fn showings(f: &str, put: &mut Put<'_>) {
    for (id, text) in SHOWINGS {
        let more = match id {
            "physicals" => {
                let list: Vec<String> = (0..12).map(|at| format!("{f}-skin-{at:02}")).collect();
                format!("applies_to: {{group: {f}, recipe: [{}]}}\n", list.join(", "))
            }
            _ => format!("applies_to: {{group: {f}, class: structural}}\n"),
        };
        put(
            "showings",
            id,
            id,
            4,
            format!(
                "title: {id} of the family\nclause: [CS 23.2260, 14 CFR 23.2260]\nmeans: [MC4]\n{more}{}owner: certification-lead\n",
                text.replace("F-", &format!("{f}-"))
            ),
        );
    }
}

/// The texts of one evidence record: itself, and its data where it has some.
fn evidence(family: usize, at: usize, (showing, subject): &DutyKey) -> Vec<(String, Vec<u8>)> {
    let id = format!("e-{family:03}-{at:03}");
    let kind = showing.split_once('-').map_or("", |(_, kind)| kind);
    let mut label = String::new();
    use bondline::article::Subject;
    let _ = match subject {
        Subject::Lamina { material, process, .. } => write!(label, "{{lamina: [{material}, {process}]}}"),
        Subject::Laminate(recipe) => write!(label, "{{laminate: {recipe}}}"),
        Subject::Painted(recipe, finish) => {
            write!(label, "{{painted: [{recipe}, {}]}}", finish.as_deref().unwrap_or("bare"))
        }
        Subject::Bond { adhesive, process, faces } => {
            let [one, two] = &**faces;
            write!(label, "{{bond: [{adhesive}, {process}, {one}, {two}]}}")
        }
        Subject::Panel(panel) => write!(label, "{{panel: {panel}}}"),
        _ => Ok(()),
    };
    let (result, level): (&str, f64) = match kind {
        "lamina-tension" => ("", 760.0),
        "lamina-compression" => ("", 430.0),
        "core-shear" => ("", 0.9),
        "residual-compression" => ("", 170.0),
        "wet-tg" => ("{value: 122 degC}", 0.0),
        "physicals" => ("{value: 0.8 %}", 0.0),
        "lightning" => ("{statement: true}", 0.0),
        "paint-adhesion" => ("{rating: 5}", 0.0),
        "lap-shear" => ("{value: 12 MPa}", 0.0),
        _ => ("{margin: 0.14}", 0.0),
    };
    let tested = match kind {
        "lamina-compression" | "lap-shear" => "tested: {temperature: 82 degC, moisture: equilibrium}\n",
        "wet-tg" => "tested: {moisture: equilibrium}\n",
        "paint-adhesion" | "physicals" => "",
        "lightning" => "tested: {lightning: 2A}\n",
        _ => "tested: {temperature: 21 degC, moisture: as-fabricated}\n",
    };
    // Some is only planned yet.
    let planned = at % 23 == 22;
    let mut text = HEADER.to_string();
    let _ = write!(
        text,
        "title: {kind} of the family, report {at}\nshowing: {showing}\nsubject: {label}\nkind: test\nstate: {}\n",
        if planned { "planned" } else { "done" }
    );
    let mut all = Vec::new();
    if !planned {
        let _ = write!(
            text,
            "made: 2026-02-{:02}\nreport: TR-{family:03}-{at:03} issue 1\n{tested}",
            at % 28 + 1
        );
        if result.is_empty() {
            let _ = writeln!(text, "data: data/{id}.csv");
            let mut rows = "batch,panel,specimen,value [MPa],rejected,note\n".to_string();
            for row in 0..18usize {
                let (batch, panel) = (row / 6, row / 3 % 2);
                // A fixed scatter of about three per cent.
                let step = (row * 7919 + at * 104_729 + family * 1_299_709) % 13;
                #[allow(clippy::cast_precision_loss)]
                let value = level * (0.96 + 0.006 * step as f64);
                let _ = writeln!(
                    rows,
                    "L{family:03}{at:03}{batch},L{family:03}{at:03}{batch}-{panel},s{row},{value:.4},,invented"
                );
            }
            all.push((format!("evidence/data/{id}.csv"), rows.into_bytes()));
        } else {
            let _ = writeln!(text, "result: {result}");
        }
    }
    let _ = writeln!(text, "owner: test lab");
    all.push((format!("evidence/{id}.yaml"), text.into_bytes()));
    all
}
