"""The live view: the page of a scene, served on this computer alone, that follows its values and its file.

`viewing` leads: `quick` answers while a control is dragged, `thorough` asks all the rest when nothing moves,
`watch` sees edits of the file, `kept_values` writes values back into it, `server` holds the door.
"""
