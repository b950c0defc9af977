//! Who may come in: which names the page answers to, who may send forms, and who has the token.

use std::net::IpAddr;

use axum::http::{HeaderMap, Method, header};
use subtle::ConstantTimeEq as _;

/// Letters and digits of a token. Those that are easily taken for each other are left out, and 32 are 5 bits each.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
/// 24 of them are 120 bits.
const TOKEN_LETTERS: usize = 24;
/// Name of the cookie that says that the token was given.
pub const COOKIE: &str = "nullwalk";

/// What only this run of the program knows.
pub struct Keys {
    /// What a visitor has to give where the page is open to other machines.
    pub token: Option<String>,
    /// What stands in the cookie of those who did.
    pub session: String,
    /// What stands in every form of ours, so that no other site's form is taken for one.
    pub form: String,
}

impl Keys {
    /// New ones, from the system's random numbers.
    pub fn new(with_token: bool) -> Self {
        Self { token: with_token.then(secret), session: secret(), form: secret() }
    }

    /// Whether the cookies of a request say that its sender has given the token.
    pub fn admits(&self, headers: &HeaderMap) -> bool {
        self.token.is_none() || cookie(headers).is_some_and(|given| same(given, &self.session))
    }

    /// Whether this is the token, however it was typed.
    pub fn is_token(&self, given: &str) -> bool {
        let plain: String =
            given.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect();
        self.token.as_ref().is_some_and(|token| same(&plain, &token.replace('-', "")))
    }

    /// Whether a form is one of ours.
    pub fn is_form(&self, given: &str) -> bool {
        same(given, &self.form)
    }
}

fn secret() -> String {
    let mut bytes: [u8; TOKEN_LETTERS] = rand::random();
    // 32 letters divide 256 evenly, so all are as likely.
    for byte in &mut bytes {
        *byte = LETTERS[usize::from(*byte) % LETTERS.len()];
    }
    let groups: Vec<_> = bytes.chunks(4).map(String::from_utf8_lossy).collect();
    groups.join("-")
}

/// Compared in a time that does not tell where they differ.
fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';')).find_map(|pair| {
        let (name, value) = pair.split_once('=')?;
        (name.trim() == COOKIE).then(|| value.trim())
    })
}

/// Whether a request may be answered that was sent to this host. A name on the net can be made to lead to this machine,
/// and a page that came under that name would then be let in by the browser; so only addresses are answered to, and
/// `localhost`. Only those of this machine, unless the page is `open` to others.
pub fn host_is_ours(host: &str, port: u16, open: bool) -> bool {
    let (name, given) = match host.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((name, "")) => (name, None),
        Some((name, rest)) => (name, Some(rest.strip_prefix(':').unwrap_or_default())),
        None => host.split_once(':').map_or((host, None), |(name, port)| (name, Some(port))),
    };
    // Browsers leave out port 80.
    let right_port = given.map_or(port == 80, |given| given.parse() == Ok(port));
    let right_name = match name.parse::<IpAddr>() {
        Ok(address) => open || address.is_loopback(),
        Err(_) => name.eq_ignore_ascii_case("localhost"),
    };
    right_port && right_name
}

/// Whether a request that changes something comes from a page of ours, as far as the browser says.
pub fn sender_is_ours(method: &Method, headers: &HeaderMap) -> bool {
    if matches!(*method, Method::GET | Method::HEAD) {
        return true;
    }
    let text =
        |name| headers.get(name).map(|value: &axum::http::HeaderValue| value.to_str().unwrap_or("?"));
    let from_here = text("sec-fetch-site").is_none_or(|site| matches!(site, "same-origin" | "none"));
    let host = text("host").unwrap_or_default();
    from_here && text("origin").is_none_or(|origin| origin.strip_prefix("http://") == Some(host))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_addresses_of_this_machine_and_localhost_are_answered_to() {
        for host in ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765", "[::1]:8765", "127.9.9.9:8765"] {
            assert!(host_is_ours(host, 8765, false), "{host}");
        }
        for host in [
            "",
            ":8765",
            "example.org:8765",
            "127.0.0.1",
            "127.0.0.1:80",
            "127.0.0.1:8765:1",
            "192.168.0.7:8765",
            "[::1]",
            "[::1:8765",
            "[::1]8765",
            "localhost.example.org:8765",
            "127.0.0.1.example.org:8765",
            "0.0.0.0:8765",
        ] {
            assert!(!host_is_ours(host, 8765, false), "{host}");
        }
        assert!(host_is_ours("192.168.0.7:8765", 8765, true) && host_is_ours("localhost", 80, true));
        assert!(!host_is_ours("example.org:8765", 8765, true));
    }

    #[test]
    fn tokens_are_long_differ_and_are_known_however_typed() {
        let (a, b) = (Keys::new(true), Keys::new(true));
        let token = a.token.clone().unwrap();
        assert_ne!(Some(&token), b.token.as_ref());
        assert_eq!(token.chars().filter(char::is_ascii_alphanumeric).count(), TOKEN_LETTERS);
        assert!(a.is_token(&token) && a.is_token(&token.to_uppercase().replace('-', " ")));
        assert!(!a.is_token("") && !a.is_token(b.token.as_ref().unwrap()) && !a.is_token(&token[1..]));
        assert!(!Keys::new(false).is_token("") && !a.is_form(""));
    }

    #[test]
    fn the_cookie_has_to_be_the_right_one() {
        let keys = Keys::new(true);
        let with = |line: &str| HeaderMap::from_iter([(header::COOKIE, line.parse().unwrap())]);
        assert!(keys.admits(&with(&format!("a=b; {COOKIE}={}", keys.session))));
        assert!(
            !keys.admits(&HeaderMap::new())
                && !keys.admits(&with("nullwalk="))
                && !keys.admits(&with(";;=;"))
        );
        assert!(!keys.admits(&with(&format!("not{COOKIE}={}", keys.session))));
        assert!(Keys::new(false).admits(&HeaderMap::new()));
    }

    #[test]
    fn forms_of_other_sites_are_not_taken() {
        let with = |pairs: &[(&'static str, &str)]| {
            HeaderMap::from_iter(
                pairs.iter().map(|(n, v)| (header::HeaderName::from_static(n), v.parse().unwrap())),
            )
        };
        let host = ("host", "127.0.0.1:8765");
        let ours = |pairs: &[(&'static str, &str)]| sender_is_ours(&Method::POST, &with(pairs));
        assert!(ours(&[host]) && ours(&[host, ("origin", "http://127.0.0.1:8765")]));
        assert!(!ours(&[host, ("origin", "null")]) && !ours(&[host, ("origin", "http://127.0.0.1:8766")]));
        assert!(
            !ours(&[host, ("origin", "http://example.org")])
                && !ours(&[host, ("origin", "https://127.0.0.1:8765")])
        );
        assert!(
            !ours(&[host, ("sec-fetch-site", "cross-site")])
                && !ours(&[host, ("sec-fetch-site", "same-site")])
        );
        assert!(sender_is_ours(&Method::GET, &with(&[host, ("origin", "http://example.org")])));
    }

    proptest! {
        #[test]
        fn no_name_of_the_net_gets_in(name in "[a-z.:\\[\\]0-9-]{0,30}") {
            let open = host_is_ours(&name, 8765, true);
            let address = name.rsplit_once(':').map_or(name.as_str(), |(host, _)| host).trim_matches(['[', ']']);
            prop_assert!(!open || address == "localhost" || address.parse::<IpAddr>().is_ok());
        }
    }
}
