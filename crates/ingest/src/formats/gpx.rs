//! GPX 1.1 (Topografix, GPX 1.1 Schema Documentation): the track points of a file, in its order.
//!
//! A point gives `lat` and `lon` (attributes), and each element inside it that holds text under its name without namespace:
//! `ele`, `time`, `speed`, and whatever the extensions hold. Routes and way points were not driven and are passed over.
//!
//! Entities of a document type are never expanded; a document type ends the file, as do elements nested too deep and
//! a text that does not end.

use std::io::{self, BufRead, BufReader, Read};

use quick_xml::escape::resolve_predefined_entity;
use quick_xml::events::{BytesRef, BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use super::wanted::Wanted;
use super::{Fields, Opened, Records, RowText};
use crate::input::Input;
use crate::settings::Source;

const DEPTH_MOST: usize = 64;
/// Longest piece between two tags, and longest tag.
const PIECE_BYTES: u64 = 1 << 20;
/// Longest text of one element.
const TEXT_BYTES: usize = 4096;
/// Points of the head that are searched for names.
const POINTS: usize = 200;
/// More names in a file are data that took the place of names.
const NAMES_MOST: usize = 500;
/// Shown first, in this order.
const USUAL: [&str; 5] = ["time", "lat", "lon", "ele", "speed"];

pub fn recognises(head: &[u8]) -> bool {
    let start = String::from_utf8_lossy(&head[..head.len().min(4096)]).replace('\0', "");
    let start = start.trim_start_matches('\u{FEFF}').trim_start();
    start.starts_with('<') && start.contains("<gpx")
}

pub fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let met = names_met(input.head())?;
    let wanted = Wanted::among(source, met, input.goes_on());
    let promised = wanted.promised;
    let head = input.head().to_vec();
    let records = Gpx { points: Points::new(decoded(&head, input)), wanted, fault: None };
    Ok(Opened { description: "GPX".to_owned(), promised, ..Opened::new(Box::new(records)) })
}

/// The names of the first points. A fault after them is met again, and told, when the file is read: the head may end
/// inside a point.
fn names_met(head: &[u8]) -> io::Result<Vec<String>> {
    let mut met: Vec<String> = Vec::new();
    let mut points = Points::new(decoded(head, head));
    while points.points < POINTS {
        let point = match points.next() {
            Ok(Some(point)) => point,
            Err(fault) if met.is_empty() => return Err(fault),
            Ok(None) | Err(_) => break,
        };
        for (name, _) in point.cells {
            if met.len() < NAMES_MOST && !met.contains(&name) {
                met.push(name);
            }
        }
    }
    met.sort_by_key(|name| USUAL.iter().position(|usual| usual == name).unwrap_or(USUAL.len()));
    Ok(met)
}

/// As UTF-8, whatever the encoding; a broken character becomes the mark for one.
fn decoded<'r>(head: &[u8], bytes: impl Read + 'r) -> BufReader<Box<dyn Read + 'r>> {
    let encoding = crate::dialect::find_encoding(head);
    let text = encoding_rs_io::DecodeReaderBytesBuilder::new().encoding(Some(encoding)).build(bytes);
    BufReader::with_capacity(1 << 16, Box::new(text))
}

struct Gpx {
    points: Points<BufReader<Box<dyn Read>>>,
    wanted: Wanted,
    fault: Option<io::Error>,
}

impl Records for Gpx {
    fn names(&self) -> &[String] {
        &self.wanted.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        if let Some(fault) = self.fault.take() {
            return Err(fault);
        }
        match self.points.next() {
            Ok(None) => Ok(RowText::End),
            Ok(Some(point)) => {
                fields.clear();
                for name in &self.wanted.names {
                    fields.push(point.get(name).as_bytes());
                }
                Ok(RowText::Row { line: point.line, raw: Vec::new() })
            }
            Err(fault) => match self.points.open.take() {
                Some(point) => {
                    self.fault = Some(fault);
                    let message = "reading stopped inside this point".into();
                    let raw = point.shown().into_bytes();
                    Ok(RowText::Refused { line: point.line, raw, reason: "row-cut-short", message })
                }
                None => Err(fault),
            },
        }
    }
}

/// One track point: names and texts, the first of a name counting.
#[derive(Debug, Default)]
struct Point {
    line: u64,
    cells: Vec<(String, String)>,
}

impl Point {
    fn get(&self, name: &str) -> &str {
        let exact = self.cells.iter().find(|(known, _)| known == name);
        exact.map_or("", |(_, text)| text.as_str())
    }

    fn put(&mut self, name: String, text: &str) {
        if !text.is_empty() && self.cells.len() < NAMES_MOST && self.get(&name).is_empty() {
            self.cells.push((name, text.to_owned()));
        }
    }

    fn shown(&self) -> String {
        self.cells.iter().map(|(name, text)| format!("{name}={text}")).collect::<Vec<_>>().join(" ")
    }
}

/// The track points of a document.
struct Points<R> {
    reader: Reader<Bounded<R>>,
    buffer: Vec<u8>,
    depth: usize,
    text: String,
    /// The point being read and the depth it stands at.
    open: Option<Point>,
    open_depth: usize,
    points: usize,
}

impl<R: BufRead> Points<R> {
    fn new(reader: R) -> Self {
        let reader = Reader::from_reader(Bounded { inner: reader, taken: 0, lines: 0 });
        Self { reader, buffer: Vec::new(), depth: 0, text: String::new(), open: None, open_depth: 0, points: 0 }
    }

    fn next(&mut self) -> io::Result<Option<Point>> {
        let mut buffer = std::mem::take(&mut self.buffer);
        let met = loop {
            buffer.clear();
            self.reader.get_mut().taken = 0;
            let event = match self.reader.read_event_into(&mut buffer) {
                Ok(event) => event,
                Err(error) => break Err(fault(error)),
            };
            match self.event(&event) {
                Ok(Met::Nothing) => {}
                Ok(Met::Point(point)) => break Ok(Some(point)),
                Ok(Met::End) => break Ok(None),
                Err(error) => break Err(error),
            }
        };
        self.buffer = buffer;
        self.points += usize::from(matches!(met, Ok(Some(_))));
        met
    }

    fn event(&mut self, event: &Event<'_>) -> io::Result<Met> {
        match event {
            Event::Start(tag) => self.start(tag)?,
            Event::Empty(tag) => {
                self.start(tag)?;
                return Ok(self.end(tag.local_name().into_inner()));
            }
            Event::End(tag) => return Ok(self.end(tag.local_name().into_inner())),
            Event::Text(text) => self.add(text),
            Event::CData(text) => self.add(text),
            Event::GeneralRef(entity) => self.add(&resolved(entity)),
            Event::DocType(_) => {
                return Err(io::Error::other("it declares a document type, which no GPX file has: refused"));
            }
            Event::Eof if self.depth > 0 => {
                return Err(io::Error::other("the document ends inside an element: cut short"));
            }
            Event::Eof => return Ok(Met::End),
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
        }
        Ok(Met::Nothing)
    }

    fn start(&mut self, tag: &BytesStart<'_>) -> io::Result<()> {
        self.depth += 1;
        if self.depth > DEPTH_MOST {
            return Err(io::Error::other(format!("elements are nested more than {DEPTH_MOST} deep")));
        }
        self.text.clear();
        if self.open.is_some() || tag.local_name().into_inner() != "trkpt" {
            return Ok(());
        }
        let mut point = Point { line: self.reader.get_ref().lines + 1, cells: Vec::new() };
        for attribute in tag.attributes().take(NAMES_MOST) {
            let attribute = attribute.map_err(io::Error::other)?;
            let name = attribute.key.local_name().into_inner().to_owned();
            let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(io::Error::other)?;
            point.put(name, value.trim());
        }
        self.open = Some(point);
        self.open_depth = self.depth;
        Ok(())
    }

    /// An element ends: a leaf inside a point gives its text.
    fn end(&mut self, name: &str) -> Met {
        let at_point = self.depth == self.open_depth;
        self.depth = self.depth.saturating_sub(1);
        let text = std::mem::take(&mut self.text);
        match &mut self.open {
            Some(point) if !at_point => point.put(name.to_owned(), text.trim()),
            Some(_) => {
                self.open_depth = 0;
                return self.open.take().map_or(Met::Nothing, Met::Point);
            }
            None => {}
        }
        Met::Nothing
    }

    fn add(&mut self, text: &str) {
        if self.open.is_some() && self.text.len() + text.len() <= TEXT_BYTES {
            self.text.push_str(text);
        }
    }
}

enum Met {
    Nothing,
    Point(Point),
    End,
}

/// Character references and the five entities of XML itself; any other stays as it is written, which no number is.
fn resolved(entity: &BytesRef<'_>) -> String {
    let char = entity.resolve_char_ref().ok().flatten();
    let known = || resolve_predefined_entity(entity).map(str::to_owned);
    char.map(String::from).or_else(known).unwrap_or_else(|| format!("&{};", &**entity))
}

fn fault(error: quick_xml::Error) -> io::Error {
    match error {
        quick_xml::Error::Io(error) => io::Error::new(error.kind(), error.to_string()),
        other => io::Error::other(format!("not well-formed XML: {other}")),
    }
}

/// Counts lines, and ends in an error where one piece of the document is longer than any log has.
struct Bounded<R> {
    inner: R,
    /// Bytes of the piece at hand.
    taken: u64,
    lines: u64,
}

impl<R: BufRead> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let chunk = self.fill_buf()?;
        let taken = chunk.len().min(buffer.len());
        buffer[..taken].copy_from_slice(&chunk[..taken]);
        self.consume(taken);
        Ok(taken)
    }
}

impl<R: BufRead> BufRead for Bounded<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.taken > PIECE_BYTES {
            return Err(io::Error::other("a text or tag is longer than 1 MiB"));
        }
        self.inner.fill_buf()
    }

    fn consume(&mut self, amount: usize) {
        if let Ok(chunk) = self.inner.fill_buf() {
            self.lines += memchr::memchr_iter(b'\n', &chunk[..amount.min(chunk.len())]).count() as u64;
        }
        self.taken += amount as u64;
        self.inner.consume(amount);
    }
}
