//! What a zip archive holds. The central directory at its end is asked first; where that is cut off, the members are
//! found one after the other from the front, as far as the archive goes.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use zip::read::read_zipfile_from_stream;
use zip::{CompressionMethod, ZipArchive};

/// More members are no folder of logs.
const MEMBERS_MOST: usize = 100_000;

/// One member of an archive and where its packed bytes lie.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    pub name: String,
    pub(super) start: u64,
    pub(super) packed_bytes: u64,
    pub(super) packing: Packing,
    pub(super) checksum: u32,
}

impl Member {
    pub fn packed_bytes(&self) -> u64 {
        self.packed_bytes
    }

    /// The packed bytes as they lie in the archive.
    pub fn packed(&self, archive: &Path) -> io::Result<io::Take<File>> {
        let mut file = File::open(archive)?;
        file.seek(SeekFrom::Start(self.start))?;
        Ok(file.take(self.packed_bytes))
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Packing {
    Stored,
    Deflated,
    Encrypted,
    Other,
}

/// An archive as far as it could be listed.
#[derive(Debug, Default)]
pub struct Archive {
    pub members: Vec<Member>,
    /// Why there may be more that cannot be reached.
    pub fault: Option<String>,
}

/// True for the start of a zip archive, empty ones included.
pub fn is_zip(head: &[u8]) -> bool {
    head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06")
}

/// The members of a zip archive in name order, or `None` where the file is no such archive. Folders, and what an archiver
/// adds for itself, are left out.
pub fn members(path: &Path) -> io::Result<Option<Archive>> {
    let mut file = File::open(path)?;
    let mut head = Vec::new();
    file.by_ref().take(4).read_to_end(&mut head)?;
    if !is_zip(&head) {
        return Ok(None);
    }
    let length = file.metadata()?.len();
    let mut archive = from_directory(&file, length).or_else(|_| from_front(file))?;
    // A spreadsheet or text document is a zip archive inside, and none of its parts is a log.
    if archive.members.iter().any(|member| member.name == "[Content_Types].xml" || member.name == "content.xml")
    {
        return Err(io::Error::other("it is an office document: export its sheet as delimited text"));
    }
    archive.members.retain(|member| !member.name.starts_with("__MACOSX/"));
    archive.members.sort_by(|a, b| a.name.cmp(&b.name));
    archive.members.dedup_by(|a, b| a.name == b.name);
    Ok(Some(archive))
}

fn from_directory(file: &File, length: u64) -> io::Result<Archive> {
    let mut archive = ZipArchive::new(BufReader::new(file))?;
    let mut members = Vec::new();
    for at in 0..archive.len().min(MEMBERS_MOST) {
        let entry = archive.by_index_raw(at)?;
        if !entry.is_file() {
            continue;
        }
        let packing = packing(entry.compression(), entry.encrypted());
        let start = entry.data_start().ok_or_else(|| io::Error::other("a member has no place"))?;
        let (packed_bytes, checksum) = (entry.compressed_size(), entry.crc32());
        members.push(Member { name: entry.name()?.into_owned(), start, packed_bytes, packing, checksum });
    }
    // Members that share their bytes unpack to more than any ratio over the archive would allow.
    let packed: u128 = members.iter().map(|member| u128::from(member.packed_bytes)).sum();
    if packed > u128::from(length) {
        let fault = Some("its members overlap, as in a packed bomb; none was read".to_owned());
        return Ok(Archive { members: Vec::new(), fault });
    }
    let fault = (archive.len() > MEMBERS_MOST).then(|| format!("it has more than {MEMBERS_MOST} members"));
    Ok(Archive { members, fault })
}

fn from_front(mut file: File) -> io::Result<Archive> {
    file.seek(SeekFrom::Start(0))?;
    let mut members = Vec::new();
    let fault = loop {
        match next_from_front(&mut file) {
            Ok(Some(member)) => members.extend(member),
            // The directory is there and yet could not be read.
            Ok(None) => break "its directory is damaged".to_owned(),
            Err(error) => break format!("it is cut short or damaged ({error})"),
        }
        if members.len() >= MEMBERS_MOST {
            break format!("it has more than {MEMBERS_MOST} members");
        }
    };
    Ok(Archive {
        members,
        fault: Some(format!("{fault}; members up to there were read, later ones are missing")),
    })
}

/// The next member, `Some(None)` for a folder; leaves the file behind it.
fn next_from_front(file: &mut File) -> io::Result<Option<Option<Member>>> {
    let (member, end) = {
        let mut source = &*file;
        let Some(entry) = read_zipfile_from_stream(&mut source)? else { return Ok(None) };
        let start = (&*file).stream_position()?;
        let (packed_bytes, checksum) = (entry.compressed_size(), entry.crc32());
        let packing = packing(entry.compression(), entry.encrypted());
        let name = entry.name()?.into_owned();
        let member = entry.is_file().then_some(Member { name, start, packed_bytes, packing, checksum });
        (member, start.saturating_add(packed_bytes))
    };
    file.seek(SeekFrom::Start(end))?;
    Ok(Some(member))
}

fn packing(method: CompressionMethod, encrypted: bool) -> Packing {
    match method {
        _ if encrypted => Packing::Encrypted,
        CompressionMethod::Stored => Packing::Stored,
        CompressionMethod::Deflated => Packing::Deflated,
        _ => Packing::Other,
    }
}
