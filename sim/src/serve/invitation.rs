//! Where the page is and with which token, for people: as text and as a QR code.
//!
//! Decides: which addresses are told; a token goes behind `#`, which browsers send to nobody.
//! Assumes: a terminal with the half blocks of the oldest fonts.
//! Never: goes to standard output, where a log may keep it, nor to a file.

use super::access::Tokens;
use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};

/// An address for documentation (RFC 5737): nothing is sent to it, the system only says by which way it would go.
const ELSEWHERE: (Ipv4Addr, u16) = (Ipv4Addr::new(192, 0, 2, 1), 9);

/// Addresses and codes.
#[derive(Clone, Debug)]
pub struct Invitation {
    /// On this machine.
    here: String,
    /// From other machines, if it is served for them.
    there: Option<String>,
    look: String,
    act: String,
}

impl Invitation {
    /// To a page served at `address`.
    pub fn new(address: SocketAddr, tokens: &Tokens) -> Self {
        let port = address.port();
        let (here, there) = match address.ip() {
            ip if ip.is_loopback() => (ip, None),
            ip if ip.is_unspecified() => (Ipv4Addr::LOCALHOST.into(), own_address()),
            ip => (ip, Some(ip)),
        };
        let url = |ip: IpAddr| format!("http://{}/", SocketAddr::new(ip, port));
        let (look, act) = (tokens.look().to_owned(), tokens.act().to_owned());
        Self { here: url(here), there: there.map(url), look, act }
    }
    /// The address without a token.
    pub fn here(&self) -> &str {
        &self.here
    }
    /// The page where one may act.
    pub fn acting(&self) -> String {
        format!("{}#act={}", self.there.as_deref().unwrap_or(&self.here), self.act)
    }
    /// The page where one looks on; a token is only needed from elsewhere.
    pub fn looking(&self) -> String {
        match &self.there {
            Some(there) => format!("{there}#look={}", self.look),
            None => self.here.clone(),
        }
    }
    /// One after the other what a screen of 24 rows and 80 columns has room for; none after the last.
    pub fn page(&self, at: usize) -> Option<Vec<String>> {
        let page = |title: &str, url: String| {
            let code = if self.there.is_some() { code(&url) } else { Vec::new() };
            [format!("{title} (key w goes on)"), url].into_iter().chain(code).collect()
        };
        match at {
            0 => Some(page("Live page, looking on", self.looking())),
            1 => Some(page("Live page, acting", self.acting())),
            _ => None,
        }
    }
    /// What a person reads before the watch begins.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![
            format!("Live page, looking on: {}", self.looking()),
            format!("Live page, with acknowledge, shelve, new joint and black box: {}", self.acting()),
        ];
        if self.there.is_some() {
            lines.push(
                "Without TLS: only in a network whose users you know. The tokens are new at each start."
                    .into(),
            );
            lines.push("Looking on:".into());
            lines.extend(code(&self.looking()));
            lines.push("Acting:".into());
            lines.extend(code(&self.acting()));
        }
        lines
    }
}

/// The address that other machines in the network reach this one by, if there is a network.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect(ELSEWHERE).ok()?;
    Some(socket.local_addr().ok()?.ip()).filter(|ip| !ip.is_unspecified())
}

/// A text as a QR code (ISO/IEC 18004), two rows of it to a line; none where it is too long for one.
pub fn code(text: &str) -> Vec<String> {
    let Ok(code) = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::L) else {
        return Vec::new();
    };
    // Terminals are mostly dark: what is light in the code is drawn.
    let drawn = code.render::<Dense1x2>().dark_color(Dense1x2::Light).light_color(Dense1x2::Dark).build();
    drawn.lines().map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_for_this_machine_alone_has_no_code_and_no_token_for_looking_on() {
        let tokens = Tokens::random().expect("random numbers");
        let invitation = Invitation::new(SocketAddr::from(([127, 0, 0, 1], 8427)), &tokens);
        assert_eq!(invitation.looking(), "http://127.0.0.1:8427/");
        assert_eq!(invitation.lines().len(), 2);
        assert!(invitation.acting().ends_with(tokens.act()));
        let invitation = Invitation::new(SocketAddr::from(([192, 0, 2, 4], 80)), &tokens);
        assert_eq!(invitation.looking(), format!("http://192.0.2.4:80/#look={}", tokens.look()));
        assert!(invitation.lines().iter().all(|line| line.chars().count() < 130));
        let pages: Vec<_> = (0..9).map_while(|at| invitation.page(at)).collect();
        assert_eq!(pages.len(), 2);
        for page in pages {
            // The verdict has the first of 24 rows.
            assert!(page.len() <= 23 && page.iter().all(|line| line.chars().count() <= 80), "{page:?}");
        }
    }

    #[test]
    fn a_code_fits_the_terminal() {
        let lines = code("http://192.168.100.100:8427/#act=0123456789012345678901234567890123456789");
        assert!((10..=24).contains(&lines.len()), "{}", lines.len());
        assert!(lines.iter().all(|line| line.chars().count() <= 60));
        assert!(code(&"x".repeat(5000)).is_empty());
    }
}
