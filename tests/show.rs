//! Whole outputs from fixed readings: snapshots, the committed schema, and the findings in the samples.
//!
//! `DECKPROOF_BLESS=1 cargo test --test all show::` writes the schema and the samples' findings anew; read the difference
//! before committing it.

use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::show;
use std::path::{Path, PathBuf};

const NAMES: [&str; 6] = ["healthy", "faulty", "empty", "rounds", "unslated", "injected"];

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(name)
}

pub fn sample(name: &str) -> Reading {
    let text = std::fs::read_to_string(path(&format!("readings/{name}.json"))).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Compares with the committed file, or writes it when blessing.
fn committed(name: &str, now: &str) {
    let path = path(name);
    if std::env::var_os("DECKPROOF_BLESS").is_some() {
        std::fs::write(&path, now).unwrap();
    }
    let then = std::fs::read_to_string(&path).unwrap();
    assert!(then == now, "tests/{name} differs from what the code makes; bless it if the change is meant");
}

#[test]
fn schema_is_the_committed_one() {
    committed("reading.schema.json", &show::schema());
}

#[test]
fn card_schema_is_the_committed_one() {
    committed("card.schema.json", &show::card_schema());
}

#[test]
fn samples_have_exactly_the_keys_of_the_schema() {
    let schema: serde_json::Value = serde_json::from_str(&show::schema()).unwrap();
    for name in NAMES {
        let reading: serde_json::Value =
            serde_json::from_str(&std::fs::read_to_string(path(&format!("readings/{name}.json"))).unwrap())
                .unwrap();
        check(&schema, &schema, &reading, name);
    }
}

/// Follows the parts of JSON Schema that our types make: `$ref`, `properties`, `required`, `items`, `anyOf`, `type`.
fn check(root: &serde_json::Value, schema: &serde_json::Value, value: &serde_json::Value, at: &str) {
    if let Some(reference) = schema.get("$ref").and_then(|reference| reference.as_str()) {
        let target = root.pointer(reference.trim_start_matches('#')).expect("reference leads somewhere");
        return check(root, target, value, at);
    }
    if let Some(choices) = schema.get("anyOf").and_then(|choices| choices.as_array()) {
        if !value.is_null() {
            let choice = choices.iter().find(|choice| choice.get("type") != Some(&"null".into())).unwrap();
            check(root, choice, value, at);
        }
        return;
    }
    if let Some(types) = schema.get("type") {
        let is = |name: &str| match name {
            "null" => value.is_null(),
            "number" => value.is_number(),
            "integer" => value.is_u64() || value.is_i64(),
            "string" => value.is_string(),
            "boolean" => value.is_boolean(),
            "array" => value.is_array(),
            "object" => value.is_object(),
            other => panic!("{at}: type {other} in the schema"),
        };
        let fits = match types {
            serde_json::Value::String(one) => is(one),
            serde_json::Value::Array(many) => many.iter().any(|one| is(one.as_str().unwrap())),
            other => panic!("{at}: type {other}"),
        };
        assert!(fits, "{at}: {value} is not {types}");
    }
    if let Some(properties) = schema.get("properties").and_then(|properties| properties.as_object()) {
        let object = value.as_object().unwrap();
        for key in schema.get("required").and_then(|keys| keys.as_array()).into_iter().flatten() {
            assert!(object.contains_key(key.as_str().unwrap()), "{at}: {key} is missing");
        }
        for (key, value) in object {
            let property = properties.get(key).unwrap_or_else(|| panic!("{at}: {key} is not in the schema"));
            check(root, property, value, &format!("{at}.{key}"));
        }
    }
    if let (Some(items), Some(values)) = (schema.get("items"), value.as_array()) {
        for (k, value) in values.iter().enumerate() {
            check(root, items, value, &format!("{at}[{k}]"));
        }
    }
}

#[test]
fn text_of_the_samples() {
    for name in NAMES {
        insta::assert_snapshot!(format!("text-{name}"), show::summary(&sample(name)));
    }
}

#[test]
fn first_screen_of_the_samples() {
    for name in NAMES {
        let screen = show::brief(&sample(name));
        assert!(screen.lines().count() <= 55, "{name}: {} lines\n{screen}", screen.lines().count());
        assert!(screen.lines().all(|line| line.chars().count() <= 100), "{screen}");
        insta::assert_snapshot!(format!("brief-{name}"), screen);
    }
}

/// Two lines of 100 columns, less what stands before the text.
#[test]
fn a_step_is_at_most_two_lines_below_what_holds_for_all() {
    for name in NAMES {
        let reading = sample(name);
        for step in reading.findings.iter().flat_map(|finding| &finding.steps) {
            assert!(step.text.chars().count() <= 188, "{name}: {}", step.text);
        }
        for page in [show::brief(&reading), show::summary(&reading), show::report(&reading, None)] {
            assert_eq!(
                page.contains("isolating supply, insulated"),
                !reading.work.is_empty(),
                "{name}: {page}"
            );
        }
    }
}

#[test]
fn figures_of_the_faulty_sample() {
    for figure in show::plots(&sample("faulty"), Some(&Limits::full_size())) {
        insta::assert_snapshot!(format!("figure-{}", figure.name), figure.svg);
    }
}

#[test]
fn figures_of_the_sample_with_rounds() {
    for figure in show::plots(&sample("rounds"), None) {
        insta::assert_snapshot!(format!("figure-{}", figure.name), figure.svg);
    }
}

#[test]
fn figure_of_the_injected_sample() {
    let figures = show::plots(&sample("injected"), None);
    let figure = figures.iter().find(|figure| figure.name == "amplifier").unwrap();
    insta::assert_snapshot!("figure-amplifier", figure.svg);
}

#[test]
fn report_of_the_empty_sample() {
    insta::assert_snapshot!("report-empty", show::report(&sample("empty"), None));
}

#[test]
fn levels_as_csv() {
    let tables = show::tables(&sample("healthy"));
    let level = &tables.iter().find(|table| table.0 == "level.csv").unwrap().1;
    insta::assert_snapshot!(level.replace("\r\n", "\n"), @r"
    part,hz,programme_db,left_return_dbfs,right_return_dbfs,left_gain_db,right_gain_db,difference_db,uncertainty_db
    level-0,400,0,-12.1,-12.3,-0.1,-0.3,0.2,0.03
    level-20,400,-20,-32.1,-32.3,-0.1,-0.3,0.2,0.03
    ");
}

/// Writes every output of the samples to the folder in `DECKPROOF_LOOK`, for looking at them as pictures.
#[test]
#[ignore = "for a person's eyes"]
fn look() {
    let folder = PathBuf::from(std::env::var_os("DECKPROOF_LOOK").expect("DECKPROOF_LOOK names a folder"));
    for name in NAMES {
        let reading = sample(name);
        let limits = Limits::full_size();
        std::fs::write(folder.join(format!("{name}.html")), show::report(&reading, Some(&limits))).unwrap();
        for figure in show::plots(&reading, Some(&limits)) {
            std::fs::write(folder.join(format!("{name}-{}.svg", figure.name)), figure.svg).unwrap();
        }
    }
}
