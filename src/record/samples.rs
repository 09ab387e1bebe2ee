//! Valid records for tests.

use super::RecordKind;

/// Returns valid texts of a kind; everything in them is invented.
pub(crate) fn valid(kind: RecordKind) -> &'static [&'static str] {
    match kind {
        RecordKind::Ledger => &[
            "format: 1\nprogramme: Sanderling amphibian (invented)\nunits: si\ncurrency: EUR\nmilestones: [first-article, first-flight]\nreached: first-article\nclimate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s}\nbudgets: {closures: 41 kg}\ngrowth: {estimated: 12 %, paint: 20 %}\nweighing: {explain: 3 %, hold: 6 %, primed: {hold: 8 %}, scatter: 1 %, scale: 0.1 %}\nrates: {specimen: 180 EUR, labour: 62 EUR/h, layer: 12 min, coat: 25 min, scrap: 25 %}\napprovals: {decision: [chief-engineer]}\nimports:\n  - {name: lib, path: ../lib, commit: \"4f2c9e1\", folder: ledger, kinds: [material, evidence]}\npolicy:\n  unqualified-recipe: block\n  over-budget: \"warn\"\n  bond-route: off\n",
        ],
        RecordKind::Material => &[
            "kind: prepreg\nfibre: {name: carbon-a, type: carbon, density: 1780 kg/m3, areal: 200 g/m2 +/- 4 %}\nresin: {name: epoxy-one, density: 1200 kg/m3, content: 38 % +/- 2 %}\nform: twill\nlamina: {E1: 62 GPa, E2: {from: showing/warp}, G12: 4 GPa, nu12: 0.05}\n",
            "kind: core\ndensity: 52 kg/m3\nform: foam\nshear_modulus: 19 MPa\n",
            "kind: adhesive\nareal: 150 g/m2\nprice: 30 EUR/m2\nscrap: 15 %\n",
            "kind: part\nlinear_mass: 85 g/m\n",
            "kind: sheet\ndensity: 1190 kg/m3\nE: 3.2 GPa\nmodulus_at:\n  - {temperature: 60 degC, E: 2 GPa}\n",
        ],
        RecordKind::Process => &[
            "method: oven\ncure:\n  - {ramp: 2 K/min, to: 120 degC, hold: 90 min}\npostcure: none\nvacuum: 90 kPa\n",
            "method: wet-layup\ncure: {to: 23 degC, hold: 24 h}\n",
        ],
        RecordKind::Tool => &[
            "kind: mould\nfrom: tool/hatch-pattern\ncte: 5e-5 1/K\npulls: {expected: 40, made: 3}\nstackable: true\nfootprint: [2 m, 1 m]\n",
        ],
        RecordKind::Finish => &[
            "colour: {name: night blue, solar_absorptance: 0.90, emittance: 0.90}\ncoats:\n  - {material: filler-a, dry_film: 40 um (0 .. 80 um), removed: 25 um}\n",
        ],
        RecordKind::Recipe => &[
            "# the outer skin\ntitle: Hatch outer skin\nclass: structural\nstatus: trial\nprocess: oven-120\nlayers:                 # from the tool face inward\n  - {id: p1, material: cw-200-e1, angle: 45}  # first\n  - {material: cw-200-e1, angle: 0}\n  - material: foam-52\n    thickness: 6 mm\n  - {material: cw-200-e1, angle: 0 deg}\nmirror: none\nnotes: |\n  Two lines,\n  the second one.\n",
        ],
        RecordKind::Panel => &[
            "title: Bow hatch\ngroup: closures\nquantity: 2\nreleased: false\nzones:\n  - {name: outer field, area: 0.82 m2, recipe: hatch-outer, finish: night-blue, centroid: [1.9 m, 0.0 m, 0.6 m]}\n  - name: window\n    area: 0.41 m2\n    sheet: {material: acrylic-a, thickness: 4 mm, structural: true}\njoints:\n  - {name: window bond, adhesive: paste-a, process: bond-rt, between: [outer field, window], route: arrest, length: 3.1 m, width: 18 mm}\nloads:\n  - {name: suction, pressure: 3.2 kPa, factor: 1.5}\nexposure: {zone: outdoor, lightning: 2A, minimum: -54 degC}\n",
        ],
        RecordKind::Assembly => &[
            "children:\n  - {panel: bow-hatch, count: 2, at: [1 m, 0 m, 0 m]}\n  - part: seal-d\nbudget: 41 kg\n",
        ],
        RecordKind::Showing => &[
            "kind: lamina-strength-fibre\nclause: [CS 23.2260, 14 CFR 23.2260]\nmeans: MC2\napplies_to: {class: structural, material: cw-200-e1}\naccept: {basis: B, at_least: 520 MPa}\nenvironment: {name: ETW, temperature: 82 degC, bounds: hot}\nnormalise: {to: cured-thickness, nominal: 0.21 mm, within: 5 %}\nplan: {batches: 3, specimens: 18, weeks: 2.5, cost: 130 EUR}\nafter: [wet-tg]\nsensitivity:\n  resin-content:\n    - {within: 2 points, asks: none}\n    - {asks: retest}\n",
            "kind: paint-weathering\naccept:\n  readings:\n    - {property: gloss-retention, at_least: 70 %}\n    - {property: blistering, at_least: 8F, exposure: outdoor}\n    - {property: adhesion, at_least: 4B, when: end}\nplan: {specimens: 3, readings: [3 months, 12 months, 500 h]}\n",
        ],
        RecordKind::Evidence => &[
            "showing: lamina-tension\nsubject: {lamina: [cw-200-e1, oven-120]}\nkind: test\nstate: done\nmade: 2026-03-14\nmeasured: {film-build.total: 180 um}\nconformed:\n  form: 1\n  attributes:\n    plies: [a 45, b 0]\n    fibre.name.a: carbon-a\n",
            "showing: paint-trial\nsubject: {painted: [hatch-outer, white]}\nkind: test\nstate: running\ndata: data/rack.csv\ntrial:\n  sites:\n    rack: {kind: outdoor, method: ASTM G7/G7M-21, start: 2026-04-20, panels: [T1, T2]}\n    store: {kind: dark}\n",
        ],
        RecordKind::Decision => &[
            "status: draft\ntitle: Lighter hatch\nbase: 4f2c9e1\nchanges:\n  - {set: recipe/hatch-outer#layers.3.material, was: cw-200-e1, to: cw-150-e1}\n  - {insert: recipe/hatch-outer#layers, after: 5, between: [{material: cw-200-e1, angle: 0}, null], entry: {material: cw-200-e1, angle: 0}}\napprovals: [{role: chief-engineer, on: 2026-04-01}]\n",
        ],
        RecordKind::Concession => &[
            "showing: lamina-tension\nsubject: {laminate: hatch-outer}\nreason: one piece only\ncovers:\n  film-build.max: {at_most: 190 um}\nserials: [S1]\nuntil: 2026-12-31\n",
            "showing: lamina-tension\nsubject: {programme: true}\nreason: one piece only\ncovers: failed\nuntil: 2026-12-31\n",
        ],
        RecordKind::Weighing => &[
            "panel: float-shell\nserial: 7\nmass: 4.31 kg\non: 2026-05-01\ncondition: bare\n",
            "panel: float-shell\nserial: 8\nmass: 4.6 kg\nas_built: {predicted: 4.3 kg}\nexplained: a wrinkle of the bag filled with resin\ndisposition: {cause: resin-rich along the keel, by: chief engineer, on: 2026-05-02}\n",
        ],
        RecordKind::Study => &[
            "vary:\n  - {attribute: recipe/x#layers.3.material, among: [a, b]}\n  - {name: core, attribute: [recipe/x#layers.4.thickness, recipe/y#layers.4.thickness], from: 4 mm, to: 8 mm, step: 2 mm}\n  - {attribute: recipe/x#layers.5, drop: true}\nkeep: {margins: 0.05, symmetric: true, balanced: true, max_same_angle: 4, share_per_direction: 10 %, surface: 45, temperature: true, budgets: true}\ngoal: {save: 500 g}\nlimits: {weeks: 12, cost: 20000 EUR, variations: 500, seconds: 30}\n",
        ],
    }
}
