//! A page as one HTML file: no script, nothing fetched, for screen and for A4 and Letter.

use super::page::{
    Entry, Judged, Kind, Page, Printed, Section, Shown, Table, Tone, behind_point, most_behind,
};
use super::plot::{Plot, escaped};
use super::render::Render;
use super::words::{self, capitalised};
use crate::reading::Verdict;

const STYLE: &str = include_str!("report.css");

/// HTML that grows.
#[derive(Default)]
pub(super) struct Html {
    body: String,
}

/// Text from anywhere, made safe, with typographic signs, and numbers bound to their units.
fn text(raw: &str) -> String {
    escaped(&words::with_signs(&words::bound(raw)))
}

/// A cell's text: a sign may stand at its start.
fn cell_text(raw: &str) -> String {
    text(&format!(" {raw}")).trim_start().to_owned()
}

/// Verdict as a badge; the word and the frame tell as much as the colour.
fn badge(verdict: Verdict) -> String {
    let class = match verdict {
        Verdict::Within => "within",
        Verdict::Marginal => "marginal",
        Verdict::Outside => "outside",
        Verdict::CannotTell => "cannot",
    };
    format!("<span class=\"badge {class}\">{}</span>", words::verdict(verdict))
}

/// With a full stop, if it ends without one.
fn stopped(sentence: &str) -> String {
    let stop = if sentence.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{sentence}{stop}")
}

impl Html {
    fn add(&mut self, html: &str) {
        self.body += html;
    }
}

impl Render for Html {
    type Output = String;

    fn open(&mut self, page: &Page) {
        self.add(&format!("<header>\n<h1>{} {}</h1>\n<dl>\n", page.title.0, text(&page.title.1)));
        for (name, fact) in &page.head {
            self.add(&format!("<dt>{}</dt><dd>{}</dd>\n", text(name), text(fact)));
        }
        self.add("</dl>\n</header>\n");
    }

    fn open_section(&mut self, section: &Section) {
        let class = match section.kind {
            Kind::Plain | Kind::AsTyped => "",
            Kind::Curves => " class=\"curves\"",
            Kind::Cautions => " class=\"cautions\"",
            Kind::NewPage => " class=\"page\"",
        };
        self.add(&format!("<section{class}>\n<h2>{}</h2>\n", text(&section.heading)));
    }

    fn paragraph(&mut self, tone: Tone, sentence: &str) {
        let html = text(sentence);
        self.add(&match tone {
            Tone::Plain => format!("<p>{html}</p>\n"),
            Tone::Aside => format!("<p class=\"basis\">{html}</p>\n"),
            Tone::Warning | Tone::Turn => format!("<p class=\"turn\">{html}</p>\n"),
            Tone::Command => format!("<p><code>{html}</code></p>\n"),
        });
    }

    fn facts(&mut self, facts: &[(String, String)]) {
        self.add("<table class=\"meanings\">\n<tbody>\n");
        for (name, fact) in facts {
            self.add(&format!("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", text(name), text(fact)));
        }
        self.add("</tbody>\n</table>\n");
    }

    fn list(&mut self, items: &[String]) {
        self.add("<ul>\n");
        items.iter().for_each(|item| self.body += &format!("<li>{}</li>\n", text(item)));
        self.add("</ul>\n");
    }

    fn steps(&mut self, steps: &[(u32, String, String)]) {
        self.add("<ol class=\"work\">\n");
        for (number, step, because) in steps {
            let because = match because.as_str() {
                "" => String::new(),
                because => format!("<p class=\"basis\">For: {}</p>", text(&stopped(because))),
            };
            self.add(&format!("<li value=\"{number}\"><p>{}</p>{because}</li>\n", text(step)));
        }
        self.add("</ol>\n");
    }

    fn entries(&mut self, entries: &[Entry]) {
        let columns = entries.iter().map(|entry| entry.figures.len()).max().unwrap_or(0);
        self.add("<table class=\"findings\">\n");
        if columns == 2 {
            self.add("<thead><tr><th></th><th>left</th><th>right</th><th></th></tr></thead>\n");
        }
        self.add("<tbody>\n");
        for entry in entries {
            let name = text(&entry.name).replace(", ", ",<br>");
            self.add(&format!("<tr><th scope=\"row\">{name}</th>"));
            let span = columns / entry.figures.len().max(1);
            for Judged { verdict, value, .. } in &entry.figures {
                // A break before the uncertainty keeps the column narrow.
                let value = cell_text(value).replacen("\u{a0}\u{b1}", "<br>\u{b1}", 1);
                let value = if value.is_empty() { value } else { format!("<br>{value}") };
                self.add(&format!("<td class=\"number\" colspan=\"{span}\">{}{value}</td>", badge(*verdict)));
            }
            if entry.figures.is_empty() && columns > 0 {
                self.add(&format!("<td class=\"number\" colspan=\"{columns}\"></td>"));
            }
            self.add("<td>");
            for (label, tone, sentence) in &entry.lines {
                let sentence = stopped(sentence);
                self.add(&match tone {
                    Tone::Plain if *label == "why" => format!("<p>{}</p>", text(&capitalised(&sentence))),
                    Tone::Plain => format!("<p>{}: {}</p>", capitalised(label), text(&sentence)),
                    Tone::Aside => {
                        format!("<p class=\"basis\">{}: {}</p>", capitalised(label), text(&sentence))
                    }
                    _ => {
                        let label = capitalised(label);
                        format!("<p class=\"turn\"><strong>{label}:</strong> {}</p>", text(&sentence))
                    }
                });
            }
            self.add("</td></tr>\n");
        }
        self.add("</tbody>\n</table>\n");
    }

    fn table(&mut self, table: &Table) {
        if table.printed == Printed::Nowhere {
            return;
        }
        if !table.title.is_empty() {
            self.add(&format!("<h3>{}</h3>\n", text(&table.title)));
        }
        let rows = table.rows();
        let heads = table.heads();
        let is_left = |k: usize| {
            let holds_words = |row: &Vec<Shown>| !row[k].numeric && row[k].text.contains(char::is_alphabetic);
            !rows.iter().any(|row| row[k].numeric && !row[k].text.is_empty()) && rows.iter().any(holds_words)
        };
        let classes: Vec<&str> =
            (0..heads.len()).map(|k| if is_left(k) { " class=\"words\"" } else { "" }).collect();
        let size = if table.printed == Printed::Report { "all" } else { "response" };
        self.add(&format!("<table class=\"{size}\">\n<thead><tr>"));
        for (head, class) in heads.iter().zip(&classes) {
            self.add(&format!("<th{class}>{}</th>", text(head)));
        }
        self.add("</tr></thead>\n<tbody>\n");
        let most: Vec<usize> = (0..heads.len())
            .map(|k| most_behind(&rows.iter().map(|row| &row[k]).collect::<Vec<_>>()))
            .collect();
        let shown = rows.len().min(table.most);
        for row in &rows[..shown] {
            self.add("<tr>");
            for (k, cell) in row.iter().enumerate() {
                let html = padded(cell, most[k]);
                self.add(&if k == 0 {
                    format!("<th scope=\"row\"{}>{html}</th>", classes[k])
                } else {
                    format!("<td{}>{html}</td>", classes[k])
                });
            }
            self.add("</tr>\n");
        }
        self.add("</tbody>\n</table>\n");
        if shown < rows.len() {
            self.add(&format!("<p>And {} more: {}.</p>\n", rows.len() - shown, table.file));
        }
    }

    fn plot(&mut self, plot: &Plot) {
        let Plot { name, caption, svg } = plot;
        self.add(&format!(
            "<figure id=\"{name}\">\n{svg}<figcaption>{}</figcaption>\n</figure>\n",
            text(caption)
        ));
    }

    fn signature(&mut self) {
        self.add("<div class=\"sign\">\n<p>Date</p>\n<p>Signed</p>\n</div>\n");
    }

    fn close_section(&mut self, _section: &Section) {
        self.add("</section>\n");
    }

    fn finish(self, page: &Page) -> String {
        let title = text(&format!("{} {}", page.title.0, page.title.1));
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"generator\" content=\"Deckproof\">\n<meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n\
             <style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n{}</main>\n</body>\n</html>\n",
            self.body
        )
    }
}

/// A cell with blanks as wide as a digit and as a point, which keep the points under each other.
fn padded(cell: &Shown, most: usize) -> String {
    if !cell.numeric {
        let judged = cell.verdict.map(|verdict| format!(" {}", badge(verdict))).unwrap_or_default();
        return format!("{}{judged}", cell_text(&cell.text));
    }
    let pad = |number: &str| {
        let blanks = behind_point(number, most);
        let point = if blanks > 0 && !number.contains('.') { "\u{2008}" } else { "" };
        format!("{}{point}{}", cell_text(number), "\u{2007}".repeat(blanks - usize::from(!point.is_empty())))
    };
    let spread = match cell.spread.as_str() {
        "" => String::new(),
        spread => format!(" <span class=\"spread\">\u{b1}\u{a0}{}</span>", pad(spread)),
    };
    let unit = if cell.unit.is_empty() { String::new() } else { format!("\u{a0}{}", text(cell.unit)) };
    format!("{}{spread}{unit}", pad(&cell.text))
}
