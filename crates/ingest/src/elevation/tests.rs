use super::*;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/elevation")
}

fn survey(name: &str) -> Survey {
    Survey::of(&fixtures().join(name))
}

/// The plane of the fixtures' maker, the same as that of the .hgt tests.
fn plane_m(lat_deg: f64, lon_deg: f64) -> f64 {
    100.0 + 1200.0 * (2.0 * (lat_deg + 34.0) + (lon_deg + 71.0))
}

const INSIDE: [(f64, f64); 5] =
    [(-33.75, -70.15), (-33.8, -70.1), (-33.7777, -70.1234), (-33.76, -70.11), (-33.799_99, -70.149_99)];

/// GDAL wrote them: strips and tiles, packed and plain, every type of value, areas and points.
#[test]
fn every_layout_gives_the_plane_back() {
    for name in [
        "int16-strips-deflate.tif",
        "uint16-tiles-lzw.tif",
        "float32-tiles-deflate.tif",
        "float64-strips-plain.tif",
        "int16-point.tif",
    ] {
        let survey = survey(name);
        assert!(survey.problems.is_empty(), "{name}: {:?}", survey.problems);
        let mut heights = Heights::new(&survey);
        for (lat, lon) in INSIDE {
            let found = heights.height(lat, lon).unwrap_or(f64::NAN);
            let problems = &heights.chunks.refused;
            assert!((found - plane_m(lat, lon)).abs() < 1e-6, "{name} {lat} {lon}: {found} {problems:?}");
        }
        for (lat, lon) in [(-33.749, -70.12), (-33.801, -70.12), (-33.77, -70.151), (-33.77, -70.099)] {
            assert_eq!(heights.height(lat, lon), None, "{name}: beyond its edge");
        }
        assert!(heights.into_problems().is_empty());
    }
}

/// Areas reach half a step beyond their middles, where the outermost value holds; points do not.
#[test]
fn areas_reach_to_their_edge() {
    let just_beyond = (-33.75 + 0.4 / 1200.0, -70.12);
    let (area, point) = (survey("int16-strips-deflate.tif"), survey("int16-point.tif"));
    let edge = Heights::new(&area).height(just_beyond.0, just_beyond.1);
    assert!(edge.is_some_and(|found| (found - plane_m(-33.75, -70.12)).abs() < 1e-6), "{edge:?}");
    assert_eq!(Heights::new(&point).height(just_beyond.0, just_beyond.1), None);
}

#[test]
fn voids_give_no_height_declared_or_not() {
    let void = (-33.75 - 20.0 / 1200.0, -70.15 + 20.0 / 1200.0);
    for name in ["int16-void.tif", "float32-void-undeclared.tif"] {
        let survey = survey(name);
        let mut heights = Heights::new(&survey);
        assert_eq!(heights.height(void.0 + 0.3 / 1200.0, void.1 + 0.3 / 1200.0), None, "{name}");
        assert!(heights.height(void.0 + 1.3 / 1200.0, void.1).is_some(), "{name}");
        assert!(heights.into_problems().is_empty());
    }
}

#[test]
fn what_cannot_be_read_is_refused_by_name() {
    for (name, why) in [
        (
            "bad-projected.tif",
            "EPSG:32719, a projection, and not EPSG:4326; bring it to longitude and latitude",
        ),
        ("bad-other-datum.tif", "EPSG:4269, and not EPSG:4326"),
        ("bad-no-coordinates.tif", "does not say its coordinates"),
        ("bad-two-bands.tif", "one a place"),
        ("make-grids", "no TIFF"),
        ("nothing.tif", "No such file"),
    ] {
        let survey = survey(name);
        assert_eq!(survey.problems.len(), 1, "{name}: {:?}", survey.problems);
        let problem = &survey.problems[0];
        assert!(problem.message.contains(why), "{name}: {problem}");
        assert!(problem.place.file.as_deref().is_some_and(|file| file.ends_with(name)));
        assert_eq!(Heights::new(&survey).height(-33.76, -70.12), None);
    }
}

/// A header is no promise: what shows in the values is said once.
#[test]
fn torn_and_foreign_values_are_said_once() {
    for (name, why) in [("bad-int32.tif", "neither 16-bit"), ("bad-torn.tif", "strip or tile")] {
        let survey = survey(name);
        assert!(survey.problems.is_empty(), "{name}: {:?}", survey.problems);
        let mut heights = Heights::new(&survey);
        for (lat, lon) in [(-33.799, -70.12), (-33.7991, -70.12)] {
            assert_eq!(heights.height(lat, lon), None, "{name}");
        }
        let problems = heights.into_problems();
        assert!(problems.len() == 1 && problems[0].message.contains(why), "{name}: {problems:?}");
    }
}

/// In a folder the finest grid that has a value serves, and .hgt tiles where there is none.
#[test]
fn a_folder_holds_both_kinds() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(fixtures().join("int16-void.tif"), folder.path().join("grid.tif")).unwrap();
    std::fs::copy(fixtures().join("bad-projected.tif"), folder.path().join("other.TIFF")).unwrap();
    let flat: Vec<u8> = (0..1201 * 1201).flat_map(|_| 7i16.to_be_bytes()).collect();
    std::fs::write(folder.path().join("S34W071.hgt"), flat).unwrap();
    let survey = Survey::of(folder.path());
    assert_eq!(survey.problems.len(), 1);
    let mut heights = Heights::new(&survey);
    assert!(heights.height(-33.76, -70.11).is_some_and(|found| (found - plane_m(-33.76, -70.11)).abs() < 1e-6));
    assert_eq!(heights.height(-33.2, -70.11), Some(7.0));
    let void = (-33.75 - 20.0 / 1200.0, -70.15 + 20.0 / 1200.0);
    assert_eq!(heights.height(void.0, void.1), Some(7.0), "the void is filled from the other");
}

/// Any bytes whatever: refused or read, never a panic, never more memory than the bounds.
#[test]
fn damaged_grids_do_not_panic() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("grid.tif");
    for name in ["int16-strips-deflate.tif", "uint16-tiles-lzw.tif", "float32-tiles-deflate.tif"] {
        let whole = std::fs::read(fixtures().join(name)).unwrap();
        for at in (0..whole.len()).step_by(7) {
            let mut bytes = whole.clone();
            bytes[at] ^= 0xff;
            std::fs::write(&path, &bytes).unwrap();
            let survey = Survey::of(&path);
            let mut heights = Heights::new(&survey);
            for (lat, lon) in INSIDE {
                assert!(heights.height(lat, lon).is_none_or(f64::is_finite));
            }
        }
    }
}
