"""Files that people write: YAML text to frozen descriptions, or every mistake at once.

    bytes ──text──▶ characters ──tree──▶ nodes with places ──shape──▶ keys ──bench_file──▶ Rack
                                                                          └──plan_file──▶ Plan

Read in this order: read (what others call), tree, shape, bench_shape and plan_shape (the formats),
quantity, then bench_file and plan_file.
"""
