//! The receiver's sentences against the `nmea` crate's own reading of them, and degrees against the exact geodesy.

use nmea::ParseResult;
use nullwalk_core::frame::Position;
use nullwalk_drivers::gnss::{Gga, Gst, Heard, Origin, Place, Quality, Receiver, Sentence, Unreadable};
use proptest::prelude::*;

/// Sentences that manuals and parsers' documentation print, with their checksums.
const PRINTED: [&str; 4] = [
    "$GPGGA,123519,4807.038,N,01131.324,E,1,08,0.9,545.4,M,46.9,M,,*42",
    "$GPGGA,145659.00,5956.695396,N,03022.454999,E,2,07,0.6,9.0,M,18.0,M,,*62",
    "$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54",
    "$GPRMC,125504.049,A,5542.2389,N,03741.6063,E,0.06,25.82,200906,,,A*56",
];

fn line(content: &str) -> String {
    let checksum = content.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${content}*{checksum:02X}")
}

#[test]
fn printed_sentences_are_read() {
    let [gga, corrected, gst, rmc] = PRINTED.map(|line| Sentence::read(line.as_bytes()).unwrap());
    assert_eq!(
        gga,
        Sentence::Gga(Gga {
            time_ms: 45_319_000,
            latitude_nanodegrees: 48_117_300_000,
            longitude_nanodegrees: 11_522_066_666,
            height_mm: 592_300,
            quality: Quality::Alone,
            hdop_centi: 90,
        })
    );
    assert!(matches!(corrected, Sentence::Gga(Gga { quality: Quality::Corrected, .. })));
    assert_eq!(gst, Sentence::Gst(Gst { time_ms: 66_101_000, sigma_mm: 900 }));
    // 20 September 2006, 12:55:04, as `date -u -d` counts it.
    assert_eq!(rmc, Sentence::Rmc(1_158_756_904));
    // A maker's own sentence is sound too.
    assert_eq!(Sentence::read(line("PXYZW,40,GLL,0,1").as_bytes()), Ok(Sentence::Other));
}

#[test]
fn one_wrong_character_is_unreadable() {
    for printed in PRINTED {
        for at in 1..printed.len() {
            let mut wrong = printed.as_bytes().to_vec();
            wrong[at] ^= 1;
            assert_eq!(Sentence::read(&wrong), Err(Unreadable), "{at} of {printed}");
        }
        assert_eq!(Sentence::read(format!("{printed}0").as_bytes()), Err(Unreadable));
        assert_eq!(Sentence::read(&printed.as_bytes()[..printed.len() - 1]), Err(Unreadable));
    }
}

#[test]
fn what_is_not_known_yet_is_no_place() {
    for content in ["GNGGA,,,,,,0,00,99.99,,,,,,", "GNGST,,,,,,,,", "GNGGA,120000.00,,,,,6,00,,,M,,M,,"] {
        assert_eq!(Sentence::read(line(content).as_bytes()), Ok(Sentence::NotYet), "{content}");
    }
    // Sound by its checksum, and yet no sentence.
    for content in [
        "GNGGA,1",
        "GNGGA,120000,9100.0,N,01131.3,E,1,08,0.9,5,M,4,M,,",
        "GNGGA,,,,,,9,,,,,,,,",
        "GNGST,1,2",
    ] {
        assert_eq!(Sentence::read(line(content).as_bytes()), Err(Unreadable), "{content}");
    }
}

fn places(bytes: &[u8]) -> (Vec<Place>, Heard) {
    let mut receiver = Receiver::default();
    let places = bytes.iter().filter_map(|byte| receiver.push(*byte)).collect();
    (places, receiver.heard())
}

#[test]
fn sigma_is_the_receiver_s_own_while_it_is_fresh() {
    let gga = |time: &str, quality: &str, hdop: &str| {
        line(&format!("GNGGA,{time},4807.038,N,01131.324,E,{quality},12,{hdop},545.4,M,46.9,M,,")) + "\r\n"
    };
    let gst = line("GNGST,235959.00,,,,,0.014,0.011,0.03") + "\r\n";
    let cases = [
        ("235959.00", "4", "0.7", (0.014, true)),
        ("000001.00", "4", "0.7", (0.014, true)),
        ("000002.00", "4", "0.7", (0.03, false)),
        ("000002.00", "5", "1.0", (0.5, false)),
        ("000002.00", "2", "1.0", (1.5, false)),
        ("000002.00", "1", "2.5", (10.0, false)),
    ];
    for (time, quality, hdop, expected) in cases {
        let (places, _) = places((gst.clone() + &gga(time, quality, hdop)).as_bytes());
        assert_eq!(places.len(), 1);
        assert_eq!((places[0].sigma_m, places[0].is_own_sigma), expected, "{time} {quality}");
    }
}

#[test]
fn bad_lines_are_counted_and_the_next_is_read() {
    let good = format!("{}\r\n", PRINTED[0]);
    let bad: [(Vec<u8>, Heard); 6] = [
        (b"noise before the first line".to_vec(), Heard::default()),
        (good.replace("08", "09").into_bytes(), Heard { garbled: 1, ..Heard::default() }),
        (b"$GPGGA,1234".to_vec(), Heard { garbled: 1, ..Heard::default() }),
        (b"$GPGGA,12\x0034,".to_vec(), Heard { garbled: 1, ..Heard::default() }),
        (b"$GPGGA,\xFF\xFE".to_vec(), Heard { garbled: 1, ..Heard::default() }),
        ([b"$".as_slice(), &[b'1'; 500], b"\r\n"].concat(), Heard { overlong: 1, ..Heard::default() }),
    ];
    for (bytes, heard) in bad {
        let (places, counted) = places(&[&bytes, good.as_bytes()].concat());
        assert_eq!(places.len(), 1, "{bytes:?}");
        assert_eq!(counted, Heard { sound: 1, ..heard }, "{bytes:?}");
    }
}

/// East, north (in the plane that touches the ellipsoid at the origin) the exact way: over earth-centred coordinates.
/// WGS 84; Hofmann-Wellenhof, Lichtenegger and Wasle 2008, GNSS, sec. 8.2 (from memory).
fn exact_en_m(origin: &Gga, place: &Gga) -> [f64; 2] {
    let angles = |gga: &Gga| {
        let radians = |nanodegrees: i64| (nanodegrees as f64 * 1e-9).to_radians();
        (radians(gga.latitude_nanodegrees), radians(gga.longitude_nanodegrees))
    };
    let earth_centred = |gga: &Gga| {
        let (latitude, longitude) = angles(gga);
        let flattening = 1.0 / 298.257_223_563;
        let eccentricity_2 = flattening * (2.0 - flattening);
        let across = 6_378_137.0 / (1.0 - eccentricity_2 * latitude.sin().powi(2)).sqrt();
        let height = f64::from(gga.height_mm) * 1e-3;
        [
            (across + height) * latitude.cos() * longitude.cos(),
            (across + height) * latitude.cos() * longitude.sin(),
            (across * (1.0 - eccentricity_2) + height) * latitude.sin(),
        ]
    };
    let (from, to) = (earth_centred(origin), earth_centred(place));
    let [x, y, z] = core::array::from_fn(|axis| to[axis] - from[axis]);
    let (latitude, longitude) = angles(origin);
    let east = -longitude.sin() * x + longitude.cos() * y;
    let outwards = longitude.cos() * x + longitude.sin() * y;
    [east, latitude.cos() * z - latitude.sin() * outwards]
}

fn place(latitude_nanodegrees: i64, longitude_nanodegrees: i64, height_mm: i32) -> Place {
    let gga = Gga {
        time_ms: 0,
        latitude_nanodegrees,
        longitude_nanodegrees,
        height_mm,
        quality: Quality::Fixed,
        hdop_centi: 100,
    };
    Place { gga, sigma_m: 0.03, is_own_sigma: true }
}

const NANO: i64 = 1_000_000_000;

#[test]
fn over_the_date_line_and_too_far() {
    let origin = Origin::at(&place(0, 180 * NANO - 1000, 0));
    let Some(Position { enu_m, sigma_m }) = origin.locate(&place(0, -180 * NANO + 1000, 250)) else {
        panic!("the date line is no border");
    };
    // 2000 billionths of a degree of the equator, 40 075 017 m round.
    assert!((enu_m.x - 0.222_64).abs() < 1e-4 && enu_m.y == 0.0 && enu_m.z == 0.25 && sigma_m == 0.03);
    assert_eq!(origin.locate(&place(NANO / 10, 180 * NANO - 1000, 0)), None);
    assert_eq!(origin.locate(&place(0, 0, 0)), None);
}

proptest! {
    #[test]
    fn near_the_origin_metres_are_exact(
        latitude in -70 * NANO..70 * NANO, longitude in -180 * NANO..180 * NANO, height_mm in -400_000..4_000_000,
        north in -9000_i64..9000, east in -9000_i64..9000, far: bool,
    ) {
        // Steps of a hundredth of a metre within 100 m, or of a decimetre within 1 km.
        let step = if far { 1000 } else { 100 };
        let start = place(latitude, longitude, height_mm);
        let there = place(latitude + north * step, longitude + east * step, height_mm);
        let found = Origin::at(&start).locate(&there).unwrap().enu_m;
        let [east_m, north_m] = exact_en_m(&start.gga, &there.gga);
        let limit_m = if far { 0.01 } else { 1e-4 };
        prop_assert!((f64::from(found.x) - east_m).abs() < limit_m, "{} {east_m}", found.x);
        prop_assert!((f64::from(found.y) - north_m).abs() < limit_m, "{} {north_m}", found.y);
    }

    /// Our whole numbers against the crate's 64-bit floats.
    #[test]
    fn the_crate_reads_the_same(
        ms in 0..86_400_000_u32, degrees in (0..90_u8, 0..180_u8), minutes in (0..600_000_000_u32, 0..600_000_000_u32),
        south: bool, west: bool, hdop in 0..9999_u32, altitude in -5000..90_000_i32,
    ) {
        let (second, minute, hour) = (ms / 1000 % 60, ms / 60_000 % 60, ms / 3_600_000);
        let angle = |minutes: u32| format!("{:02}.{:07}", minutes / 10_000_000, minutes % 10_000_000);
        let sentence = line(&format!(
            "GNGGA,{hour:02}{minute:02}{second:02}.{:03},{:02}{},{},{:03}{},{},4,12,{}.{:02},{:.1},M,46.9,M,,",
            ms % 1000, degrees.0, angle(minutes.0), if south { "S" } else { "N" },
            degrees.1, angle(minutes.1), if west { "W" } else { "E" }, hdop / 100, hdop % 100, f64::from(altitude) / 10.0,
        ));
        let Ok(Sentence::Gga(ours)) = Sentence::read(sentence.as_bytes()) else { panic!("{sentence}") };
        let Ok(ParseResult::GGA(theirs)) = nmea::parse_str(&sentence) else { panic!("{sentence}") };
        prop_assert_eq!(ours.time_ms, ms);
        prop_assert!((ours.latitude_nanodegrees as f64 * 1e-9 - theirs.latitude.unwrap()).abs() < 1.1e-9);
        prop_assert!((ours.longitude_nanodegrees as f64 * 1e-9 - theirs.longitude.unwrap()).abs() < 1.1e-9);
        prop_assert!((ours.hdop_centi as f32 / 100.0 - theirs.hdop.unwrap()).abs() < 1e-4);
        prop_assert_eq!(ours.height_mm, altitude * 100 + 46_900);
    }

    #[test]
    fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        prop_assert_eq!(places(&bytes).0, []);
    }

    /// Sound checksums around anything at all.
    #[test]
    fn any_fields_are_survived(fields in "[A-Z0-9.,-]{0,80}", kind in prop_oneof![Just("GNGGA"), Just("GPGST")]) {
        let (found, heard) = places((line(&format!("{kind},{fields}")) + "\r\n").as_bytes());
        prop_assert_eq!(heard.sound + heard.garbled, 1);
        for place in found {
            prop_assert!(place.sigma_m >= 0.0 && place.sigma_m.is_finite());
            prop_assert!(place.gga.latitude_nanodegrees.abs() <= 90 * NANO);
        }
    }
}
