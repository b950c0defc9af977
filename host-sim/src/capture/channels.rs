//! From a number of channels known at run time to one known at compile time.

/// Runs `body` with the constant `C` set to a channel count that is only known at run time.
/// Gives `Some(body)` for 1 to 8 channels, else `None`.
///
/// ```
/// fn frame_bytes<const C: usize>() -> usize {
///     size_of::<[i32; C]>()
/// }
/// assert_eq!(nullwalk::with_channels!(6, C => frame_bytes::<C>()), Some(24));
/// assert_eq!(nullwalk::with_channels!(9, C => frame_bytes::<C>()), None);
/// ```
#[macro_export]
macro_rules! with_channels {
    ($count:expr, $channels:ident => $body:expr) => {
        $crate::with_channels!(@arms $count, $channels, $body, 1 2 3 4 5 6 7 8)
    };
    (@arms $count:expr, $channels:ident, $body:expr, $($number:literal)*) => {
        match $count {
            $($number => {
                const $channels: usize = $number;
                Some($body)
            })*
            _ => None,
        }
    };
}
