//! The model of a page: sections of tables, lists, entries and paragraphs. It knows no form; renderers make text, HTML and CSV.

mod cell;
mod quantities;
mod table;

pub(super) use cell::{Cell, Measured, Shown, behind_point, most_behind, pair};
pub(super) use quantities::Quantities;
pub(super) use table::{Printed, Rows, Table};

use super::Plot;
use crate::reading::Verdict;

/// Everything that one output says, in order.
pub(super) struct Page {
    /// What the page is of: a name and what it names; empty if its first heading says it.
    pub(super) title: (&'static str, String),
    /// Facts below the title.
    pub(super) head: Vec<(String, String)>,
    pub(super) sections: Vec<Section>,
}

impl Page {
    pub(super) fn new(name: &'static str, of: impl Into<String>) -> Self {
        Self { title: (name, of.into()), head: Vec::new(), sections: Vec::new() }
    }

    /// A fact below the title; nothing if there is none.
    pub(super) fn fact(&mut self, name: impl Into<String>, text: Option<String>) {
        self.head.extend(text.map(|text| (name.into(), text)));
    }
}

/// What a section is to the reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Plain,
    /// Drawn curves: only where pictures can be shown.
    Curves,
    Cautions,
    /// Begins a page where it is printed.
    NewPage,
    /// Its heading holds a name that is typed: it stands as it is written.
    AsTyped,
}

/// One heading with what stands below it.
pub(super) struct Section {
    pub(super) heading: String,
    pub(super) kind: Kind,
    pub(super) blocks: Vec<Block>,
}

/// What stands in a section.
pub(super) enum Block {
    Paragraph(Tone, String),
    /// Names and what is said of each.
    Facts(Vec<(String, String)>),
    /// An unordered list.
    List(Vec<String>),
    /// Numbered steps, each with its reason.
    Steps(Vec<(u32, String, String)>),
    Entries(Vec<Entry>),
    Table(Table),
    Plot(Plot),
    /// Room for date and signature.
    Signature,
}

/// How a sentence is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tone {
    Plain,
    /// By the way: where something comes from, what was not told.
    Aside,
    /// To be heeded before anything else.
    Warning,
    /// What is to be turned.
    Turn,
    /// A line to be typed as it stands.
    Command,
}

/// One judged or named thing with labelled sentences.
pub(super) struct Entry {
    pub(super) name: String,
    /// What was judged: one figure, or left and right.
    pub(super) figures: Vec<Judged>,
    pub(super) lines: Vec<(&'static str, Tone, String)>,
}

/// One judged figure of an entry.
pub(super) struct Judged {
    /// `left` or `right`; empty where there is but one.
    pub(super) side: &'static str,
    pub(super) verdict: Verdict,
    /// Value in words; empty if there is none.
    pub(super) value: String,
}

impl Entry {
    pub(super) fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), figures: Vec::new(), lines: Vec::new() }
    }

    /// A labelled sentence; nothing if there is none.
    pub(super) fn line(&mut self, label: &'static str, tone: Tone, text: Option<String>) {
        self.lines.extend(text.map(|text| (label, tone, text)));
    }
}

impl Section {
    pub(super) fn new(heading: impl Into<String>) -> Self {
        Self { heading: heading.into(), kind: Kind::Plain, blocks: Vec::new() }
    }

    /// The cautions, which stand in a frame.
    pub(super) fn cautions<'a>(cautions: impl IntoIterator<Item = &'a &'a str>) -> Self {
        let all = cautions.into_iter().map(|&caution| caution.to_owned()).collect();
        Self { kind: Kind::Cautions, ..Self::new("Cautions") }.block(Block::List(all))
    }

    pub(super) fn block(mut self, block: Block) -> Self {
        self.blocks.push(block);
        self
    }

    pub(super) fn table(self, table: Table) -> Self {
        self.block(Block::Table(table))
    }

    pub(super) fn tables(self, tables: impl IntoIterator<Item = Table>) -> Self {
        tables.into_iter().fold(self, Self::table)
    }

    pub(super) fn say(self, text: impl Into<String>) -> Self {
        self.block(Block::Paragraph(Tone::Plain, text.into()))
    }

    /// Several sentences in one tone, each a paragraph.
    pub(super) fn say_all(self, tone: Tone, texts: impl IntoIterator<Item = String>) -> Self {
        texts.into_iter().fold(self, |section, text| section.block(Block::Paragraph(tone, text)))
    }

    /// A list, or `none` where nothing is in it.
    pub(super) fn list_or(self, items: Vec<String>, none: &str) -> Self {
        if items.is_empty() { self.say(none) } else { self.block(Block::List(items)) }
    }
}
