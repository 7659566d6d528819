//! What every form of a page has in common: the walk through it.

use super::page::{Block, Entry, Page, Section, Table, Tone};
use super::plot::Plot;

/// A form of pages. It is asked for the pieces in the order in which they are read; what it cannot show it leaves out.
pub(super) trait Render: Default {
    /// What comes out.
    type Output;

    fn open(&mut self, _page: &Page) {}
    fn open_section(&mut self, _section: &Section) {}
    fn paragraph(&mut self, _tone: Tone, _text: &str) {}
    fn facts(&mut self, _facts: &[(String, String)]) {}
    fn list(&mut self, _items: &[String]) {}
    fn steps(&mut self, _steps: &[(u32, String, String)]) {}
    fn entries(&mut self, _entries: &[Entry]) {}
    fn table(&mut self, table: &Table);
    fn plot(&mut self, _plot: &Plot) {}
    fn signature(&mut self) {}
    fn close_section(&mut self, _section: &Section) {}
    fn finish(self, page: &Page) -> Self::Output;

    /// The whole page.
    fn page(page: &Page) -> Self::Output {
        let mut form = Self::default();
        form.open(page);
        for section in &page.sections {
            form.open_section(section);
            for block in &section.blocks {
                match block {
                    Block::Paragraph(tone, text) => form.paragraph(*tone, text),
                    Block::Facts(facts) => form.facts(facts),
                    Block::List(items) => form.list(items),
                    Block::Steps(steps) => form.steps(steps),
                    Block::Entries(entries) => form.entries(entries),
                    Block::Table(table) => form.table(table),
                    Block::Plot(plot) => form.plot(plot),
                    Block::Signature => form.signature(),
                }
            }
            form.close_section(section);
        }
        form.finish(page)
    }
}
