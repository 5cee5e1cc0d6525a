"""Published numbers of the report: contrast, size of paper, and the confidence it states.

Contrast: WCAG 2.2, success criterion 1.4.3 (4.5 to 1 for text) with the relative luminance of its
glossary; its example pair #777777 on white is 4.48 to 1, just too little (WebAIM's contrast
checker, from memory; recomputed here by the glossary's formula). Paper: ISO 216 A4 and ANSI
Y14.1 letter, in millimetres. Confidence: NIST/SEMATECH e-Handbook 8.3.1.2, 2.9957 for no failure at
95 %.
"""

LEAST_CONTRAST = 4.5
GRAY_ON_WHITE = ("#777777", "#ffffff", 4.48)
A4_MM = (210.0, 297.0)
LETTER_MM = (215.9, 279.4)
NO_FAILURE_95 = 2.9957
