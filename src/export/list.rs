//! The tables and their columns.

use super::{Column, Follows, Table, Type};

const fn column(name: &'static str, unit: &'static str, kind: Type, meaning: &'static str) -> Column {
    Column { name, unit, kind, meaning, always: false, names: None, follows: None, total: false }
}

const fn text(name: &'static str, meaning: &'static str) -> Column {
    column(name, "", Type::Text, meaning)
}

const fn number(name: &'static str, unit: &'static str, meaning: &'static str) -> Column {
    column(name, unit, Type::Number, meaning)
}

const fn whole(name: &'static str, meaning: &'static str) -> Column {
    column(name, "", Type::Whole, meaning)
}

const fn truth(name: &'static str, meaning: &'static str) -> Column {
    column(name, "", Type::Truth, meaning)
}

const fn day(name: &'static str, meaning: &'static str) -> Column {
    column(name, "", Type::Day, meaning)
}

const fn always(own: Column) -> Column {
    Column { always: true, ..own }
}

const fn total(own: Column) -> Column {
    Column { total: true, ..own }
}

const fn follows(own: Column, how: Follows) -> Column {
    Column { follows: Some(how), ..own }
}

/// A column that names a row of another table.
const fn of(table: &'static str, own: Column) -> Column {
    Column { names: Some(table), ..own }
}

/// All tables; one that names another stands behind it, but for decisions and evidence that name their own kind.
pub const TABLES: &[Table] = &[
    Table {
        name: "programme",
        meaning: "The programme as a whole; one row.",
        key: &["programme"],
        columns: &[
            always(text("programme", "Its name.")),
            text("state", "Which state of the ledger was read."),
            text("commit", "The commit, where it is one."),
            text("decisions", "Decisions laid over it, with commas."),
            day("today", "The day that verdicts were judged on."),
            text("currency", "Currency of every cost."),
            text("reached", "The milestone that is reached."),
            follows(
                number("mass", "kg", "Nominal mass of everything, from weighings where a panel is weighed."),
                Follows::Totals(&[("panels", "mass"), ("parts", "mass")]),
            ),
            number("mass_low", "kg", "Low limit of that, at two deviations."),
            number("mass_high", "kg", "High limit of that, at two deviations."),
            number("mass_with_growth", "kg", "Nominal with the allowance for growth."),
            text("caution", "What must be known of every figure here."),
        ],
    },
    Table {
        name: "materials",
        meaning: "What parts are made of.",
        key: &["material"],
        columns: &[
            always(text("material", "Id.")),
            text("title", "Title."),
            always(text(
                "kind",
                "fabric, resin, prepreg, core, adhesive, mesh, surfacing, coating, sheet or part.",
            )),
            text("designation", "What counts as its identity."),
            number(
                "areal",
                "g/m2",
                "Nominal areal mass: of dry fabric; of film, mesh, surfacing as delivered.",
            ),
            number("fibre_areal", "g/m2", "Nominal areal mass of the fibre of a prepreg."),
            number("resin_content", "%", "Nominal resin content of a prepreg, share of the mass."),
            number(
                "density",
                "kg/m3",
                "Nominal density: of resin, core, paste, sheet; of the dry film of a coating.",
            ),
            number("cured_thickness", "mm", "Nominal thickness after cure, where written."),
            number("dry_tg", "degC", "Glass transition, dry."),
            number("wet_tg", "degC", "Glass transition, wet."),
            number("mass", "kg", "Nominal mass of a part."),
            text("price", "Price as written."),
            text("supplier", "Who supplies it."),
            text("source", "Where the figures come from."),
        ],
    },
    Table {
        name: "processes",
        meaning: "How parts are made, bonded and painted.",
        key: &["process"],
        columns: &[
            always(text("process", "Id.")),
            text("title", "Title."),
            always(text("method", "oven, press, infusion, hand-lay and so on.")),
            text("cure", "The cure cycle as written, segment by segment."),
            number("cure_peak", "degC", "Its hottest dwell."),
            text("postcure", "The post-cure as written; empty where there is none."),
            number("postcure_peak", "degC", "Its hottest dwell."),
            number("pressure", "kPa", "Pressure during cure."),
            number("vacuum", "kPa", "Vacuum during cure, as pressure below ambient."),
            number("max_out_time", "h", "Longest out-time allowed before cure."),
            number("bleed", "g/m2", "Resin taken off by the bleeder, over the whole laminate."),
            text("site", "Where it is done."),
            text("surface_preparation", "Preparation of surfaces before bonding or painting."),
        ],
    },
    Table {
        name: "tools",
        meaning: "Patterns and moulds.",
        key: &["tool"],
        columns: &[
            always(text("tool", "Id.")),
            text("title", "Title."),
            always(text("kind", "pattern or mould.")),
            of("tools", text("made_from", "The tool that it was made from.")),
            text("body", "What its body is made of."),
            number("cte", "um/m/K", "Thermal expansion of the body."),
            number("tg", "degC", "Glass transition of the body."),
            text("surface", "Its working surface."),
            whole("pulls_expected", "Pulls that it should last."),
            whole("pulls_made", "Pulls made so far."),
        ],
    },
    Table {
        name: "finishes",
        meaning: "Paint recipes.",
        key: &["finish"],
        columns: &[
            always(text("finish", "Id.")),
            text("title", "Title."),
            text("colour", "Name of the colour."),
            number("solar_absorptance", "", "Share of sunlight that it absorbs."),
            number("emittance", "", "Thermal emittance."),
            of("processes", text("process", "How and where it is applied.")),
            number("film", "um", "Dry film of all coats, nominal, without what is taken off again."),
            number("most_film", "um", "The most that limits and repair allow."),
        ],
    },
    Table {
        name: "coats",
        meaning: "Coats of paint recipes, from the laminate outward.",
        key: &["finish", "number"],
        columns: &[
            always(of("finishes", text("finish", "The paint recipe."))),
            always(whole("number", "Place, from 1 on the laminate.")),
            always(of("materials", text("material", "The product."))),
            number("dry_film", "um", "Dry film as applied, nominal."),
            number("removed", "um", "What sanding or polishing takes off again, nominal."),
        ],
    },
    Table {
        name: "recipes",
        meaning: "Laminate recipes.",
        key: &["recipe"],
        columns: &[
            always(text("recipe", "Id.")),
            text("title", "Title."),
            always(text("class", "structural or non-structural.")),
            always(text("status", "trial or frozen.")),
            of("processes", text("process", "The process that cures it.")),
            number("thickness", "mm", "Nominal thickness of all layers that state one."),
            number("areal", "g/m2", "Nominal areal mass of all layers."),
        ],
    },
    Table {
        name: "layers",
        meaning: "Layers of recipes as they lie in the part, mirrored out, from the tool face inward.",
        key: &["recipe", "number"],
        columns: &[
            always(of("recipes", text("recipe", "The recipe."))),
            always(whole("number", "Place in the stack, from 1 at the tool face.")),
            whole("entry", "Place of its entry in the recipe's list, from 1."),
            text("name", "Its name within the recipe."),
            always(of("materials", text("material", "The material."))),
            always(text("role", "ply, core, film, mesh, surfacing or other.")),
            number("angle", "deg", "Angle of a ply."),
            number("thickness", "mm", "Cured thickness, where it is known."),
            number("areal", "g/m2", "Areal mass with the resin that it brings or takes up."),
            number("fibre_volume", "%", "Share of fibre in a ply's volume."),
        ],
    },
    Table {
        name: "panels",
        meaning: "Panels with their mass. Sums count all pieces of the programme.",
        key: &["panel"],
        columns: &[
            always(text("panel", "Id.")),
            text("title", "Title."),
            text("group", "Mass group."),
            always(text("class", "structural or non-structural.")),
            always(truth("released", "Whether it may be built to fly.")),
            text("released_for", "The milestone that it is released for; every one where empty."),
            text("load_path", "single or redundant."),
            of("tools", text("tool", "The mould that it comes out of.")),
            always(text("maturity", "estimated, calculated or weighed.")),
            number("area", "m2", "Developed area of all zones of one panel."),
            always(whole("quantity", "How many the programme counts.")),
            number("each", "kg", "One panel as predicted, nominal."),
            total(follows(
                number("predicted", "kg", "All of them as predicted."),
                Follows::Product("quantity", "each"),
            )),
            total(number("mass", "kg", "All of them, from weighings where the panel is weighed.")),
            number("mass_low", "kg", "Low limit of that, at two deviations."),
            number("mass_high", "kg", "High limit of that, at two deviations."),
            total(number("mass_with_growth", "kg", "All of them with the allowance for growth.")),
            whole("weighings", "How many weighings the mass rests on."),
        ],
    },
    Table {
        name: "zones",
        meaning: "Zones of panels.",
        key: &["panel", "zone"],
        columns: &[
            always(of("panels", text("panel", "The panel."))),
            always(text("zone", "Its name within the panel.")),
            total(number("area", "m2", "Developed and trimmed area.")),
            of("recipes", text("recipe", "The laminate recipe.")),
            of("finishes", text("finish", "The paint recipe.")),
            of("materials", text("sheet", "The solid sheet that it is made of instead.")),
        ],
    },
    Table {
        name: "contributions",
        meaning: "What one panel is made of, as predicted.",
        key: &["panel", "number"],
        columns: &[
            always(of("panels", text("panel", "The panel."))),
            always(whole("number", "Running number within the panel.")),
            always(text("what", "Role and material, such as `ply cw-200-e1`; a ply comes with its resin.")),
            text("place", "The zone, joint, edge or fitting."),
            total(number("mass", "kg", "Nominal mass in one panel.")),
        ],
    },
    Table {
        name: "parts",
        meaning: "Parts that assemblies list beside their panels.",
        key: &["material", "assembly"],
        columns: &[
            always(of("materials", text("material", "The part."))),
            always(text("assembly", "Id of the assembly that lists it.")),
            always(whole("quantity", "How many the programme counts.")),
            total(number("mass", "kg", "All of them.")),
        ],
    },
    Table {
        name: "showings",
        meaning: "What has to be shown.",
        key: &["showing"],
        columns: &[
            always(text("showing", "Id.")),
            text("title", "Title."),
            always(text("kind", "Kind of showing.")),
            text("clauses", "Clauses that it answers, with commas."),
            text("means", "Means of compliance, with commas."),
            text("method", "Test method."),
            text("needed_by", "The milestone that needs it."),
        ],
    },
    Table {
        name: "evidence",
        meaning: "What was shown, is being shown or is planned.",
        key: &["evidence"],
        columns: &[
            always(text("evidence", "Id.")),
            text("title", "Title."),
            always(of("showings", text("showing", "The showing."))),
            text("subject", "What was tested, as the record labels it."),
            always(text("kind", "test, equivalence, analysis and so on.")),
            always(text("state", "planned, running, done and so on.")),
            day("made", "When the article was made."),
            text("report", "The report."),
            text("data", "The data file, from the ledger's root."),
            text("commit", "The commit that it was conformed at."),
            of("evidence", text("baseline", "The evidence that it extends.")),
            of("evidence", text("supersedes", "The evidence that it corrects.")),
        ],
    },
    Table {
        name: "specimens",
        meaning: "Specimens of evidence, rejected ones included.",
        key: &["evidence", "line"],
        columns: &[
            always(of("evidence", text("evidence", "The evidence."))),
            always(whole("line", "Line in the data file.")),
            text("batch", "Label of the batch."),
            text("panel_label", "Label of the test panel."),
            text("specimen", "Label of the specimen."),
            number("value", "", "What was measured, in the unit beside it."),
            text("unit", "Unit of the value, as the file's header has it."),
            text("rejected", "Why it was rejected, where it was."),
            number("ply_thickness", "mm", "Thickness of a cured ply, where measured."),
            number("fibre_volume", "%", "Share of fibre in the volume, where measured."),
            number("width", "mm", "Width, where measured."),
            text("mode", "How it failed, as the laboratory wrote it."),
            text("condition", "What it was tested in, as the laboratory wrote it."),
        ],
    },
    Table {
        name: "readings",
        meaning: "Readings in time of exposure trials, rejected ones included.",
        key: &["evidence", "line"],
        columns: &[
            always(of("evidence", text("evidence", "The trial."))),
            always(whole("line", "Line in the data file.")),
            text("panel_label", "Label of the trial panel."),
            text("site", "The site, as the record names it."),
            text("place", "Where on the panel, or which of several readings of one kind."),
            number("exposure", "", "How long it was exposed, in the unit beside it."),
            text("exposure_unit", "months or hours."),
            always(text("property", "What was read.")),
            number("value", "", "What was read, where it is a number, in the unit beside it."),
            text("unit", "Unit of the value."),
            text("grade", "What was read, as it is graded, such as a class of adhesion."),
            day("read_on", "When, where it was written."),
            text("rejected", "Why it was rejected, where it was."),
        ],
    },
    Table {
        name: "duties",
        meaning: "Every showing on every subject, panel by panel, with its verdict.",
        key: &["duty"],
        columns: &[
            always(whole("duty", "Running number in this export.")),
            always(of("showings", text("showing", "The showing."))),
            always(text("subject", "The subject.")),
            of("panels", text("panel", "The panel; empty where the programme as a whole is asked.")),
            always(text("verdict", "met, conceded, short, lapsed, open or failed.")),
            always(text("asks", "none, analysis, equivalence or retest.")),
            text("needed_by", "The milestone that needs it."),
            text("evidence", "Evidence that counts or comes nearest, with commas."),
        ],
    },
    Table {
        name: "reasons",
        meaning: "Why a duty has its verdict, and what each difference asks.",
        key: &["duty", "number"],
        columns: &[
            always(of("duties", whole("duty", "The duty."))),
            always(whole("number", "Running number within the duty.")),
            always(text("attribute", "The attribute that differs, or what is remarked.")),
            text("was", "As conformed or as required."),
            text("now", "As it is now."),
            always(text("asks", "What it asks.")),
            text("rule", "The rule that says so."),
            text("source", "Where the rule comes from."),
            of("evidence", text("evidence", "The evidence compared with.")),
        ],
    },
    Table {
        name: "margins",
        meaning: "Margins of safety of panels that the programme counts.",
        key: &["panel", "number"],
        columns: &[
            always(of("panels", text("panel", "The panel."))),
            always(whole("number", "Running number within the panel.")),
            always(text("check", "What it is a margin of.")),
            text("load_case", "The load case."),
            text("place", "The zone, wall or joint."),
            text("criterion", "The criterion, such as tsai-wu."),
            text("mode", "How it fails."),
            whole("layer", "The critical layer, from 1 at the tool face."),
            of("materials", text("material", "Its material.")),
            number("angle", "deg", "Its angle."),
            always(number("margin", "", "Reserve factor on the factored load less one.")),
            text("words", "What is applied and what is allowed."),
            text("environment", "The environment whose values it stands on."),
        ],
    },
    Table {
        name: "decisions",
        meaning: "Design decisions.",
        key: &["decision"],
        columns: &[
            always(text("decision", "Id.")),
            text("title", "Title."),
            always(text("status", "draft, proposed, approved, rejected, withdrawn or superseded.")),
            day("raised", "When it was raised."),
            text("why", "Why."),
            whole("changes", "How many changes it carries."),
            text("approvals", "Roles with the day, with commas."),
            number("predicted", "kg", "Mass that it was predicted to add."),
            whole("specimens", "Specimens that proving again was predicted to take."),
            number("weeks", "weeks", "Weeks that it was predicted to take."),
            number("cost", "", "Cost that it was predicted to take, in the programme's currency."),
            number("found", "kg", "Mass that weighings say it added."),
            of("decisions", text("supersedes", "The decision that it replaces.")),
        ],
    },
    Table {
        name: "weighings",
        meaning: "Pieces on the scale against their prediction.",
        key: &["weighing"],
        columns: &[
            always(text("weighing", "Id.")),
            always(of("panels", text("panel", "The panel."))),
            text("serial", "Its serial."),
            day("weighed_on", "When."),
            text("condition", "trimmed, bare, primed or painted."),
            number("weighed", "kg", "What the scale showed."),
            number("predicted", "kg", "What was predicted in that condition."),
            follows(
                number("residual", "kg", "Weighed less predicted."),
                Follows::Difference("weighed", "predicted"),
            ),
            truth("as_built", "Whether the prediction is the one kept from when it was built."),
            text("standing", "within, explained, to-explain, on-hold, disposed or not-judged."),
        ],
    },
    Table {
        name: "assumptions",
        meaning: "Figures that are used without evidence.",
        key: &["number"],
        columns: &[
            always(whole("number", "Running number in this export.")),
            always(text("kind", "source, typed in, climate or judgement.")),
            text("address", "The record, with the place in it."),
            always(text("what", "What is assumed.")),
            number("mass", "kg", "Predicted mass that stands on it; not to be added up."),
            whole("duties", "How many duties stand on it."),
            text("panels", "Panels that stand on it, with commas."),
        ],
    },
    Table {
        name: "costs",
        meaning: "What one panel costs to make, line by line; empty where the ledger prices nothing.",
        key: &["panel", "number"],
        columns: &[
            always(of("panels", text("panel", "The panel."))),
            always(whole("number", "Running number within the panel.")),
            always(text("sort", "material, mould or labour.")),
            always(text("what", "What it is.")),
            text("place", "The zone, joint, edge or fitting."),
            total(number("cost", "", "Money, in the programme's currency.")),
            total(number("labour", "h", "Hours of work.")),
        ],
    },
    Table {
        name: "unpriced",
        meaning: "What the cost of a panel lacks; its lines above are the least that it costs.",
        key: &["panel", "number"],
        columns: &[
            always(of("panels", text("panel", "The panel."))),
            always(whole("number", "Running number within the panel.")),
            always(text("lacks", "What has no price, no time or no fitting unit.")),
        ],
    },
];
