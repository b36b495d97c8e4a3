"""What comes out: plans, machines and shapes in shop words, and as JSON documents.

Pages are written for people, to a terminal or a pipe; documents are plain data. Angles stand in degrees here.
"""
