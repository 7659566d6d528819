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

    /// The whole page in the usual form.
    fn page(page: &Page) -> Self::Output {
        Self::default().whole(page)
    }

    /// The whole page.
    fn whole(mut self, page: &Page) -> Self::Output {
        self.open(page);
        for section in &page.sections {
            self.open_section(section);
            for block in &section.blocks {
                match block {
                    Block::Paragraph(tone, text) => self.paragraph(*tone, text),
                    Block::Facts(facts) => self.facts(facts),
                    Block::List(items) => self.list(items),
                    Block::Steps(steps) => self.steps(steps),
                    Block::Entries(entries) => self.entries(entries),
                    Block::Table(table) => self.table(table),
                    Block::Plot(plot) => self.plot(plot),
                    Block::Signature => self.signature(),
                }
            }
            self.close_section(section);
        }
        self.finish(page)
    }
}
