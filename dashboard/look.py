"""How the pages look: the ground that is drawn on, and the few styles beyond streamlit's own."""

import streamlit as st

from dyntest.presenting import palette

STYLE = """
<style>
  .block-container { padding-top: 4.4rem; padding-bottom: 2rem; max-width: 84rem; }
  .dyntest-strip { color: %(quiet)s; font-size: 0.9rem; padding-top: 0.55rem; overflow-wrap: anywhere; }
  .dyntest-question { font-size: 1.75rem; font-weight: 650; line-height: 1.2; margin: 0.1rem 0 0.5rem; }
  .dyntest-answer { border-left: 4px solid %(accent)s; padding: 0.15rem 0 0.15rem 0.9rem; margin-bottom: 0.3rem;
                    font-size: 1.15rem; line-height: 1.45; overflow-wrap: anywhere; }
  .block-container h4 { font-size: 1.15rem; padding: 0.6rem 0 0.2rem; }
  .dyntest-answer.bad { border-left: 10px double %(warning)s; }
  .dyntest-answer p { margin: 0 0 0.25rem; }
  .dyntest-caution { border: 1px solid %(warning)s; border-radius: 0.3rem; padding: 0.5rem 0.8rem; margin: 0.35rem 0;
                     overflow-wrap: anywhere; }
  .dyntest-caution b { color: %(warning)s; }
  .dyntest-list { margin: 0; padding-left: 1.1rem; } .dyntest-list li { margin: 0.15rem 0; overflow-wrap: anywhere; }
  .dyntest-list.bordered { border: 2px solid %(ink)s; border-radius: 0.3rem; padding: 0.7rem 1rem; list-style: none; }
  .dyntest-worded { max-height: 32rem; overflow: auto; border: 1px solid %(line)s; border-radius: 0.3rem; }
  .dyntest-worded table { border-collapse: collapse; width: 100%%; font-size: 0.88rem; margin: 0; }
  .dyntest-worded th { position: sticky; top: 0; background: %(ground)s; text-align: left; font-weight: 600; }
  .dyntest-worded th, .dyntest-worded td { padding: 0.35rem 0.5rem; border-bottom: 1px solid %(line)s;
                                           vertical-align: top; min-width: 3.5rem; }
  [data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p { color: %(quiet)s; opacity: 1; }
  .dyntest-key { display: flex; flex-wrap: wrap; gap: 0.2rem 1.2rem; font-size: 0.9rem; }
  .dyntest-foot { color: %(quiet)s; font-size: 0.85rem; margin-top: 1.2rem; border-top: 1px solid %(line)s;
                  padding-top: 0.5rem; }
  @media (max-width: 900px) { .block-container { padding-left: 1.2rem; padding-right: 1.2rem; } }
  button:focus-visible, a:focus-visible, input:focus-visible, summary:focus-visible
    { outline: 3px solid %(accent)s !important; outline-offset: 2px; }
</style>
"""


def ground() -> str:
    """Give what is drawn on, ``"light"`` or ``"dark"``."""
    theme = getattr(st.context, "theme", None)
    return "dark" if theme is not None and theme.type == "dark" else "light"


def colour(of_palette: str) -> str:
    """Give a colour of the palette as it is drawn here."""
    return palette.on(ground(), of_palette)


def quiet_text() -> str:
    """Give the colour of text that stands back and can still be read in the sun."""
    return {"light": "#55626f", "dark": "#a9b5c0"}[ground()]


def style() -> None:
    """Put the styles on the page."""
    colours = {"accent": colour(palette.ACCENT), "warning": colour(palette.WARNING), "quiet": quiet_text()}
    more = {"line": colour(palette.QUIET) + "66", "ink": colour(palette.INK), "ground": palette.GROUNDS[ground()]}
    st.html(STYLE % (colours | more))
