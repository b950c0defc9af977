//! How the mast is held, and where it is.

use core::cell::RefCell;

use embassy_embedded_hal::shared_bus::blocking::i2c::I2cDevice;
use embassy_rp::i2c::{self, I2c};
use embassy_rp::peripherals::I2C1;
use embassy_rp::uart::{self, BufferedUart, BufferedUartRx, BufferedUartTx};
use embassy_sync::blocking_mutex::{Mutex, raw::NoopRawMutex};
use embassy_time::Delay;
use embedded_io_async::ReadReady as _;
use heapless::Deque;
use nullwalk_core::frame::{MastReading, Position, SampleIndex};
use nullwalk_drivers::gnss::{Origin, Place, Receiver, lower_node};
use nullwalk_drivers::tilt::{Attitude, Compass};
use nullwalk_pico2::fitting::{ANTENNA_M, GNSS_BAUD, TILT_HZ, mounting};
use nullwalk_pico2::wiring;
use static_cell::StaticCell;

use super::Interrupts;

type Bus = Mutex<NoopRawMutex, RefCell<I2c<'static, I2C1, i2c::Blocking>>>;
type BusUser = I2cDevice<'static, NoopRawMutex, I2c<'static, I2C1, i2c::Blocking>>;

/// The tilt sensor has a new reading so often, milliseconds.
const TILT_MS: u32 = 20;
/// One that is silent is tried again after this.
const AGAIN_MS: u32 = 1000;
/// Readings of as long a time as the queue of samples holds out, and more.
const WAITING: usize = 16;

static BUS: StaticCell<Bus> = StaticCell::new();
static HEARD: StaticCell<[u8; 512]> = StaticCell::new();
static SAID: StaticCell<[u8; 16]> = StaticCell::new();

/// The mast's sensors.
pub struct Mast {
    bus: &'static Bus,
    compass: Option<Compass<BusUser>>,
    tried_ms: Option<u32>,
    lost: bool,
    attitude: Option<Attitude>,
    gnss: BufferedUartRx,
    /// Nothing is said to the receiver yet; its pin rests at one.
    _to_gnss: BufferedUartTx,
    receiver: Receiver,
    origin: Option<Origin>,
    /// Readings and the samples they hold at, until these come out of the queue.
    waiting: Deque<(u32, MastReading), WAITING>,
}

impl Mast {
    /// Nothing is asked yet.
    pub fn new(tilt: wiring::Tilt, gnss: wiring::Gnss) -> Self {
        let mut config = i2c::Config::default();
        config.frequency = TILT_HZ;
        let bus =
            BUS.init(Mutex::new(RefCell::new(I2c::new_blocking(tilt.bus, tilt.scl, tilt.sda, config))));
        let mut config = uart::Config::default();
        config.baudrate = GNSS_BAUD;
        let gnss = BufferedUart::new(
            gnss.port,
            gnss.tx,
            gnss.rx,
            Interrupts,
            SAID.init([0; 16]),
            HEARD.init([0; 512]),
            config,
        );
        let (to_gnss, gnss) = gnss.split();
        Self {
            bus,
            compass: None,
            tried_ms: None,
            lost: false,
            attitude: None,
            gnss,
            _to_gnss: to_gnss,
            receiver: Receiver::default(),
            origin: None,
            waiting: Deque::new(),
        }
    }

    /// Ask the sensors at the sample `latest`, and tell what they said last up to the sample `at`, if that was not told
    /// before. Only the lower half of a sample's number is compared: it wraps after six days.
    pub fn up_to(&mut self, at: SampleIndex, latest: u32, now_ms: u32) -> Option<MastReading> {
        if let Some(reading) = self.read(now_ms) {
            if self.waiting.is_full() {
                self.waiting.pop_front();
            }
            // There is room now.
            let _ = self.waiting.push_back((latest, reading));
        }
        let mut told: Option<MastReading> = None;
        while let Some((stamp, reading)) = self.waiting.front().copied() {
            if (at as u32).wrapping_sub(stamp) > u32::MAX / 2 {
                break;
            }
            self.waiting.pop_front();
            let before = told.unwrap_or_default();
            told = Some(MastReading {
                position: reading.position.or(before.position),
                heading_rad: reading.heading_rad.or(before.heading_rad),
                tilt: reading.tilt.or(before.tilt),
            });
        }
        told
    }

    fn read(&mut self, now_ms: u32) -> Option<MastReading> {
        let is_new = self.read_attitude(now_ms);
        let attitude = self.attitude.filter(|_| is_new);
        let position = self.read_place();
        if attitude.is_none() && position.is_none() {
            return None;
        }
        Some(MastReading {
            position,
            heading_rad: attitude.and_then(|attitude| attitude.heading_rad),
            tilt: attitude.map(|attitude| attitude.tilt),
        })
    }

    /// Date and time from the satellites, if they were told since this was last asked: seconds since 1970.
    pub fn take_utc(&mut self) -> Option<u64> {
        self.receiver.take_utc()
    }

    /// Whether the tilt sensor fell silent since this was last asked.
    pub fn was_lost(&mut self) -> bool {
        core::mem::take(&mut self.lost)
    }

    fn read_attitude(&mut self, now_ms: u32) -> bool {
        let pause_ms = if self.compass.is_some() { TILT_MS } else { AGAIN_MS };
        if self.tried_ms.is_some_and(|tried_ms| now_ms.wrapping_sub(tried_ms) < pause_ms) {
            return false;
        }
        self.tried_ms = Some(now_ms);
        let Some(compass) = &mut self.compass else {
            self.compass = Compass::start(I2cDevice::new(self.bus), &mut Delay, mounting()).ok();
            self.lost = self.compass.is_none();
            return false;
        };
        match compass.read() {
            Ok(attitude) => self.attitude = attitude,
            Err(_) => (self.compass, self.attitude, self.lost) = (None, None, true),
        }
        self.attitude.is_some()
    }

    /// The first place is the origin of the site frame.
    fn read_place(&mut self) -> Option<Position> {
        let mut latest: Option<Place> = None;
        let mut bytes = [0; 64];
        while self.gnss.read_ready().unwrap_or(false) {
            // Bytes that the port lost are noticed by the sentence's checksum.
            let count = self.gnss.blocking_read(&mut bytes).unwrap_or(0);
            for byte in bytes.iter().take(count) {
                latest = self.receiver.push(*byte).or(latest);
            }
        }
        let place = latest?;
        let antenna = self.origin.get_or_insert_with(|| Origin::at(&place)).locate(&place)?;
        let attitude = self.attitude;
        Some(lower_node(
            antenna,
            ANTENNA_M,
            attitude.map(|attitude| attitude.tilt),
            attitude.and_then(|attitude| attitude.heading_rad),
        ))
    }
}
