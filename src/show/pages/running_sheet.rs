//! The running sheet of a programme, to lie beside the deck: 80 columns, or one page of HTML to print.

use crate::programme::{RunningSheet, SheetRounds, SheetRow};
use crate::show::page::{Block, Page, Rows, Section, Table};

/// What to do, what plays when, and room to write in for every round.
pub(in crate::show) fn running_sheet_page(sheet: &RunningSheet) -> Page {
    let mut page = Page::new("Running sheet:", sheet.title.clone());
    sheet.facts.iter().for_each(|(name, fact)| page.fact(*name, Some(fact.clone())));
    let (heading, steps) = &sheet.before;
    let steps = (1..).zip(steps).map(|(number, step)| (number, step.clone(), String::new()));
    page.sections.push(Section::cautions(&sheet.cautions));
    page.sections.push(Section::new(*heading).block(Block::Steps(steps.collect())));
    page.sections.push(
        Section::new("What plays when (minutes:seconds from the start of the file)")
            .table(parts(&sheet.parts)),
    );
    for rounds in &sheet.rounds {
        page.sections.push(Section::new("One round (from its start)").table(parts(&rounds.parts)));
        if !sheet.looped {
            page.sections.push(Section::new("Rounds: note what you turned").table(notes(rounds)));
        }
    }
    page
}

fn parts(rows: &[SheetRow]) -> Table {
    Rows::of("", rows)
        .head("start", |row| row.start.as_str())
        .head("length", |row| row.length.as_str())
        .head("part", |row| row.part.as_str())
        .head("dB", |row| row.db.as_str())
        .head("heard", |row| row.heard.as_str())
        .head("purpose", |row| row.purpose.as_str())
        .folding()
        .table()
}

/// A line a round, with room to write.
fn notes(rounds: &SheetRounds) -> Table {
    const ROOM: &str = "___________________________";
    let numbered: Vec<(u32, &str)> = (1..).zip(rounds.starts.iter().map(String::as_str)).collect();
    Rows::of("", &numbered)
        .head("round", |round| round.0)
        .head("start", |round| round.1)
        .head("left", |_| ROOM)
        .head("right", |_| ROOM)
        .table()
}

#[cfg(test)]
mod tests {
    use crate::programme::{Depth, Feeding, Recipe, Timeline, Written, built_in, running_sheet};
    use crate::show::{running_sheet_html, running_sheet_text};

    fn sheet(recipe: &Recipe) -> crate::programme::RunningSheet {
        let written = Written {
            wav_name: "a.wav",
            rate_hz: 44_100,
            depth: Depth::Sixteen,
            reference_dbfs: -12.0,
            feeding: Feeding::default(),
        };
        running_sheet(recipe, &Timeline::from(recipe), &written)
    }

    #[test]
    fn text_fits_eighty_columns_and_loses_no_letter() {
        let long = "a".repeat(250);
        let chord: Vec<String> = (1..=32).map(|k| (k * 100).to_string()).collect();
        let text = format!(
            r#"
            name = "long"
            title = "{long}"
            purpose = "{long} {long} with some words after it that go on and on until they need another line"
            [[part]]
            kind = "slate"
            [[part]]
            kind = "pause"
            length_s = 20
            say = "Turn the tape over, {long}"
            [[part]]
            kind = "rounds"
            count = 2
            [[part.part]]
            kind = "chord"
            id = "{}"
            hz = [{}]
            level_db = 8
            length_s = 1
            purpose = "{long}"
            "#,
            "b".repeat(40),
            chord.join(", "),
        );
        let odd = Recipe::parse(&text, "long.toml").unwrap();
        for recipe in built_in().iter().chain([&odd]) {
            let (sheet, name) = (sheet(recipe), &recipe.name);
            let text = running_sheet_text(&sheet);
            for line in text.lines() {
                assert!(line.chars().count() <= 80 && line == line.trim_end(), "{name}: {line:?}");
            }
            let [rows, html] =
                [text.matches("_____  ___").count(), running_sheet_html(&sheet).matches("<td>___").count()];
            let rounds = if sheet.looped { &[][..] } else { &sheet.rounds };
            let rounds: usize = rounds.iter().map(|rounds| rounds.starts.len()).sum();
            assert_eq!([rows, html], [rounds, 2 * rounds], "{name}");
        }
        // Cells may be broken anywhere: no letter is lost. The title, the purpose, what to say, the part's purpose and id.
        let text = running_sheet_text(&sheet(&odd));
        assert!(text.contains(&"a".repeat(60)));
        assert!(text.matches('a').count() >= 250 * 5 && text.matches('b').count() >= 40, "{text}");
    }
}
