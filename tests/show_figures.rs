//! Figures and tables of the sample readings as a reader meets them: no two labels over each other, none outside the
//! picture, every table plain CSV with units in its head.

use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::show;
use deckproof::reading::{FlutterLine, Mains, Unit};
use serde_json::json;
use std::path::Path;

const NAMES: [&str; 6] = ["healthy", "faulty", "empty", "rounds", "unslated", "injected"];
/// Width of a character at 18 units of font size, about: digits of a common sans-serif have 9.9 to 11.4.
const CHARACTER: f64 = 9.9;
/// Above and below the baseline.
const ASCENT: f64 = 13.1;
const DESCENT: f64 = 3.5;

fn sample(name: &str) -> Reading {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/readings/{name}.json"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// Left, top, right, bottom and text of every label.
fn labels(svg: &str) -> Vec<([f64; 4], String)> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let texts = document.descendants().filter(|node| node.has_tag_name("text"));
    texts
        .map(|node| {
            let text = node.text().unwrap_or_default().to_owned();
            let width = CHARACTER * text.chars().count() as f64;
            if let Some(turned) = node.attribute("transform") {
                let inside = turned.trim_start_matches("translate(").split(')').next().unwrap();
                let mut at = inside.split(' ').map(|number| number.parse::<f64>().unwrap());
                let (x, y) = (at.next().unwrap(), at.next().unwrap());
                return ([x - ASCENT, y - width / 2.0, x + DESCENT, y + width / 2.0], text);
            }
            let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
            let (x, y) = (number("x"), number("y"));
            let left = match node.attribute("text-anchor") {
                Some("end") => x - width,
                Some("middle") => x - width / 2.0,
                _ => x,
            };
            ([left, y - ASCENT, left + width, y + DESCENT], text)
        })
        .collect()
}

fn assert_apart(name: &str, svg: &str) {
    let labels = labels(svg);
    for (k, (a, one)) in labels.iter().enumerate() {
        assert!(
            a[0] >= -2.0 && a[2] <= 765.0 && a[1] >= 0.0 && a[3] <= 381.0,
            "{name}: {one} at {a:?} is cut"
        );
        for (b, other) in &labels[k + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "{name}: {one} at {a:?} lies over {other} at {b:?}");
        }
    }
}

#[test]
fn labels_lie_apart_and_inside_the_picture() {
    for name in NAMES {
        for figure in show::plots(&sample(name), Some(&Limits::full_size())) {
            assert_apart(&format!("{name} {}", figure.name), &figure.svg);
        }
    }
}

#[test]
fn labels_lie_apart_in_crowded_figures_too() {
    let mut reading = sample("faulty").into_facts();
    let flutter = reading.flutter.as_mut().unwrap();
    let line = flutter.lines[0].clone();
    let parts = [
        None,
        Some("pinch roller"),
        Some("take-up reel or supply reel"),
        Some("capstan with flywheel or belt"),
    ];
    flutter.lines = (0..14_u8)
        .map(|k| FlutterLine {
            hz: 6.0 + 0.02 * f64::from(k),
            percent_peak: 0.2 - 0.01 * f64::from(k),
            part: parts[usize::from(k) % 4].map(str::to_owned),
            harmonic: Some(2),
            could_be: k % 2 == 0,
            ..line.clone()
        })
        .collect();
    let mains: &mut Mains = reading.noise.as_mut().unwrap().mains.as_mut().unwrap();
    mains.lines = (1..=20).map(|k| (50.01 * f64::from(k), Some(-40.0 - f64::from(k)), Some(-45.0))).collect();
    // Causes of all sizes in the bass as well: three of them at one place.
    let mut bass: Vec<_> =
        sample("faulty").causes.iter().filter(|cause| cause.unit == Unit::Hz).cloned().collect();
    bass.extend(bass.clone());
    let mut json = serde_json::to_value(&reading).unwrap();
    let mut causes = sample("faulty").causes.clone();
    causes.extend(bass);
    json["causes"] = serde_json::to_value(causes).unwrap();
    (json["findings"], json["work"]) = (json!([]), json!([]));
    let reading: Reading = serde_json::from_value(json).unwrap();
    let figures = show::plots(&reading, Some(&Limits::full_size()));
    assert_eq!(figures.len(), 10);
    for figure in figures {
        assert_apart(figure.name, &figure.svg);
    }
}

#[test]
fn no_figure_is_empty() {
    for name in NAMES {
        for figure in show::plots(&sample(name), None) {
            let document = roxmltree::Document::parse(&figure.svg).unwrap();
            let drawn = document.descendants().filter(|node| {
                let class = node.attribute("class").unwrap_or_default();
                node.has_attribute("points") && !["grid", "axis", "limit", "fit", "thin"].contains(&class)
                    || class.contains("dot")
            });
            assert!(drawn.count() > 0, "{name} {}", figure.name);
        }
    }
}

/// Rows of RFC 4180: cells in quotes may hold commas, quotes (doubled) and line breaks; lines end with CR LF.
fn rows(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let mut chars = text.chars().peekable();
    let mut quoted = false;
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => cell.extend(chars.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut cell)),
            '\r' if !quoted => {
                assert_eq!(chars.next(), Some('\n'), "a line ends with CR alone");
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            '\n' if !quoted => panic!("a line ends with LF alone"),
            c => cell.push(c),
        }
    }
    assert!(!quoted && row.is_empty() && cell.is_empty(), "the last line has no end");
    rows
}

#[test]
fn every_table_is_plain_csv_with_units_in_its_head() {
    let units = [
        "percent_peak",
        "percent_rms",
        "hz",
        "db",
        "dbfs",
        "percent",
        "s",
        "ms",
        "us",
        "deg",
        "um",
        "per_min",
    ];
    // Numbers without a unit, and those whose unit stands in a column of its own.
    let bare = ["round", "harmonic", "probability"];
    let beside = ["value", "uncertainty", "left", "right"];
    for name in NAMES {
        for (file, text) in show::tables(&sample(name)) {
            assert!(show::TABLES.contains(&file), "{file} is not announced");
            let rows = rows(&text);
            let heads = &rows[0];
            assert!(rows.len() > 1, "{name} {file} has no rows");
            for (k, head) in heads.iter().enumerate() {
                assert!(!head.is_empty() && !heads[..k].contains(head), "{file}: {head}");
                let cells = || rows[1..].iter().map(|row| row[k].as_str()).filter(|cell| !cell.is_empty());
                let numbers = cells().count() > 0 && cells().all(|cell| cell.parse::<f64>().is_ok());
                let told = units.iter().any(|unit| head == unit || head.ends_with(&format!("_{unit}")));
                let column = beside.contains(&head.as_str()) && heads.iter().any(|head| head == "unit");
                assert!(
                    !numbers || told || column || bare.contains(&head.as_str()),
                    "{file}: {head} has no unit"
                );
            }
            for row in &rows {
                assert_eq!(row.len(), heads.len(), "{name} {file}: {row:?}");
                assert!(row.iter().all(|cell| cell != "NaN" && cell != "inf"), "{name} {file}: {row:?}");
            }
        }
    }
}

#[test]
fn every_table_and_figure_that_can_be_is_announced() {
    let names: Vec<&str> = show::FIGURES.to_vec();
    for name in NAMES {
        for figure in show::plots(&sample(name), None) {
            assert!(names.contains(&figure.name), "{}", figure.name);
        }
    }
    assert!(names.iter().enumerate().all(|(k, name)| !names[..k].contains(name)));
}
