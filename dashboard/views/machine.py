"""Page."""

import streamlit as st

st.title("machine", anchor=False)
