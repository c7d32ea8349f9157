//! The header of a GeoTIFF: where its values lie, and whether they can be read here.
//!
//! Source   OGC 19-008r4, GeoTIFF Standard 1.1: tags and keys; the tag of the void value is GDAL's, from its driver page

use std::fs::File;
use std::io::BufReader;
use std::panic::AssertUnwindSafe;
use std::path::{Path, PathBuf};

use tiff::ColorType;
use tiff::decoder::{Decoder, Limits};
use tiff::tags::Tag;

use super::Four;

/// A strip or tile that unpacks to more is refused: some writers put a whole image into one.
const LARGEST_CHUNK: usize = 64 << 20;
/// Offsets of the strips or tiles.
const LARGEST_TAG: usize = 16 << 20;

/// Edges are sums of steps: a centimetre beyond is rounding. [deg]
const HAIR_DEG: f64 = 1e-7;

/// Keys of the directory.
const MODEL_TYPE: u16 = 1024;
const RASTER_TYPE: u16 = 1025;
const GEODETIC_CRS: u16 = 2048;
const ANGULAR_UNITS: u16 = 2054;
const PROJECTED_CRS: u16 = 3072;
const VERTICAL_UNITS: u16 = 4099;

const WGS84: u16 = 4326;
const DEGREE: u16 = 9102;
const METRE: u16 = 9001;
const AREA: u16 = 1;
const GEOGRAPHIC: u16 = 2;
const PROJECTED: u16 = 1;

const BRING_TO_WGS84: &str =
    "bring it to longitude and latitude first: gdalwarp -t_srs EPSG:4326 FROM.tif TO.tif";

/// A readable grid.
#[derive(Debug)]
pub struct Grid {
    pub path: PathBuf,
    pub rows: usize,
    pub columns: usize,
    /// Size of a strip or tile. [values]
    pub chunk: (usize, usize),
    /// The north-western value.
    north_deg: f64,
    west_deg: f64,
    /// Between rows, and between columns.
    step_lat_deg: f64,
    step_lon_deg: f64,
    /// Half a step where a value stands for an area, else nothing: how far the grid reaches beyond its values.
    margin: f64,
    pub void: Option<f64>,
}

/// An opened file within bounds.
pub fn open(path: &Path) -> Result<Decoder<BufReader<File>>, String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    let mut limits = Limits::default();
    limits.decoding_buffer_size = LARGEST_CHUNK;
    limits.intermediate_buffer_size = LARGEST_CHUNK;
    limits.ifd_value_size = LARGEST_TAG;
    let decoder = Decoder::new(BufReader::new(file)).map_err(|error| format!("no TIFF: {error}"))?;
    Ok(decoder.with_limits(limits))
}

/// The library stops with a panic on some damage that it does not expect; here a damaged file is a file refused.
pub fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let damaged = |_| Err("its contents are damaged".to_owned());
    std::panic::catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(damaged)
}

impl Grid {
    pub fn open(path: &Path) -> Result<Self, String> {
        guarded(|| Self::read(path))
    }

    fn read(path: &Path) -> Result<Self, String> {
        let mut decoder = open(path)?;
        let (columns, rows) = decoder.dimensions().map_err(|error| error.to_string())?;
        if rows < 2 || columns < 2 {
            return Err(format!("{rows} by {columns} values are no terrain"));
        }
        match decoder.colortype() {
            Ok(ColorType::Gray(16 | 32 | 64)) => {}
            Ok(other) => {
                return Err(format!(
                    "values of the kind {other:?}, where heights are 16-bit integers, or floats, one a place"
                ));
            }
            Err(error) => return Err(error.to_string()),
        }
        let tag = |decoder: &mut Decoder<_>, tag| decoder.get_tag_f64_vec(tag).unwrap_or_default();
        let keys = decoder.get_tag_u16_vec(Tag::GeoKeyDirectoryTag).unwrap_or_default();
        let is_area = check_keys(&keys)?;
        let (scale, tie) =
            (tag(&mut decoder, Tag::ModelPixelScaleTag), tag(&mut decoder, Tag::ModelTiepointTag));
        let (&[step_lon_deg, step_lat_deg, ..], &[column, row, _, lon, lat, _]) =
            (scale.as_slice(), tie.as_slice())
        else {
            return Err("it is not laid out by one tie point and a pixel scale (turned grids are not read); gdalwarp -t_srs \
                        EPSG:4326 lays it out anew"
                .to_owned());
        };
        let margin = if is_area { 0.5 } else { 0.0 };
        let void = decoder.get_tag_ascii_string(Tag::GdalNodata).ok();
        let chunk = decoder.chunk_dimensions();
        let grid = Self {
            path: path.to_owned(),
            rows: rows as usize,
            columns: columns as usize,
            chunk: (chunk.1 as usize, chunk.0 as usize),
            north_deg: lat + (row - margin) * step_lat_deg,
            west_deg: lon + (margin - column) * step_lon_deg,
            step_lat_deg,
            step_lon_deg,
            margin,
            void: void.and_then(|text| text.trim_matches(['\0', ' ']).parse().ok()),
        };
        grid.check()
    }

    fn check(self) -> Result<Self, String> {
        let [south, west, north, east] = self.bounds_deg();
        let on_earth = self.step_lat_deg > 0.0
            && self.step_lon_deg > 0.0
            && south >= -90.001
            && north <= 90.001
            && west >= -361.0
            && east <= 361.0;
        if !on_earth {
            return Err(format!(
                "it reaches from {south} to {north} degrees of latitude, {west} to {east} of longitude"
            ));
        }
        if self.chunk.0 == 0 || self.chunk.1 == 0 {
            return Err("its strips are empty".to_owned());
        }
        Ok(self)
    }

    /// South, west, north, east edge.
    pub fn bounds_deg(&self) -> [f64; 4] {
        let (lat, lon) = (self.margin * self.step_lat_deg, self.margin * self.step_lon_deg);
        [
            self.north_deg - (self.rows - 1) as f64 * self.step_lat_deg - lat,
            self.west_deg - lon,
            self.north_deg + lat,
            self.west_deg + (self.columns - 1) as f64 * self.step_lon_deg + lon,
        ]
    }

    pub fn step_deg(&self) -> f64 {
        self.step_lat_deg.max(self.step_lon_deg)
    }

    /// A place among the values; `None` beyond the grid. In the outer half of its outermost cells the outermost values hold.
    pub fn between(&self, lat_deg: f64, lon_deg: f64) -> Option<Four> {
        let [south, west, north, east] = self.bounds_deg();
        let inside = (south - HAIR_DEG..=north + HAIR_DEG).contains(&lat_deg)
            && (west - HAIR_DEG..=east + HAIR_DEG).contains(&lon_deg);
        let row = (self.north_deg - lat_deg) / self.step_lat_deg;
        let column = (lon_deg - self.west_deg) / self.step_lon_deg;
        inside.then(|| Four::around(row, column, self.rows, self.columns))
    }
}

/// Longitude and latitude of WGS84, heights in metres; tells whether a value stands for an area.
fn check_keys(keys: &[u16]) -> Result<bool, String> {
    // A header of four, then key, where it stands, count, value. Keys that stand elsewhere are texts and doubles.
    let key = |wanted: u16| {
        let of = |entry: &&[u16]| entry[0] == wanted && entry[1] == 0;
        keys.get(4..)?.chunks_exact(4).find(of).map(|entry| entry[3])
    };
    match (key(MODEL_TYPE), key(PROJECTED_CRS), key(GEODETIC_CRS)) {
        (None, None, None) => Err(format!("it does not say its coordinates; {BRING_TO_WGS84}")),
        (Some(PROJECTED), code, _) | (_, code @ Some(_), _) => {
            let name =
                code.map_or("a projection of its own".to_owned(), |code| format!("EPSG:{code}, a projection"));
            Err(format!("its coordinates are {name}, and not EPSG:4326; {BRING_TO_WGS84}"))
        }
        (Some(GEOGRAPHIC) | None, None, Some(WGS84)) => {
            if let Some(unit) = key(ANGULAR_UNITS).filter(|unit| *unit != DEGREE) {
                return Err(format!(
                    "its angles are of the unit EPSG:{unit}, and not degrees; {BRING_TO_WGS84}"
                ));
            }
            if let Some(unit) = key(VERTICAL_UNITS).filter(|unit| *unit != METRE) {
                return Err(format!("its heights are of the unit EPSG:{unit}, and not metres"));
            }
            Ok(key(RASTER_TYPE).is_none_or(|kind| kind == AREA))
        }
        (_, None, code) => {
            let name = code.map_or("unnamed".to_owned(), |code| format!("EPSG:{code}"));
            Err(format!("its coordinates are {name}, and not EPSG:4326; {BRING_TO_WGS84}"))
        }
    }
}
