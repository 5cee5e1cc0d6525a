"""Naming: a line that was seen against what a plan, the dongle and the air explain."""

from sniff.naming.explain import Explanation, explain_lines, names_in_words
from sniff.naming.families import Family

__all__ = ["Explanation", "Family", "explain_lines", "names_in_words"]
