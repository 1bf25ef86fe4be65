"""Numbers and markings; knows no board.

`quantity` reads and writes plain values, `part_value` the value texts of parts lists and netlists,
`marking` what is printed on a part, `series` the preferred numbers, `sizes` the chip sizes.
"""
